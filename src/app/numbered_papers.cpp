#include "app/numbered_papers.h"

#include <fmt/core.h>

#include <algorithm>
#include <cstdio>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/papers_page.h"
#include "layout/paper_names.h"
#include "report/markup.h"

namespace interstice::app {
namespace {

constexpr double kBetween_mm = 6;
constexpr int kLongestShown_px = 1800;  // enough to read what is written on the papers

std::string shown_picture(const cv::Mat& picture) {
  const double by =
      std::min(1.0, kLongestShown_px / static_cast<double>(std::max(picture.rows, picture.cols)));
  cv::Mat small;
  cv::resize(picture, small, {}, by, by, cv::INTER_AREA);
  std::vector<unsigned char> jpeg;
  cv::imencode(".jpg", small, jpeg, {cv::IMWRITE_JPEG_QUALITY, 80});
  return report::jpeg_uri({reinterpret_cast<const char*>(jpeg.data()), jpeg.size()});
}

}  // namespace

std::string papers_to_tap(const std::vector<layout::PaperPage>& pages, const std::vector<cv::Mat>& pictures) {
  std::vector<std::string> shown;
  for (const cv::Mat& picture : pictures) shown.push_back(shown_picture(picture));
  return bench::papers_page(pages, shown);
}

std::string numbered_papers(const std::vector<layout::PaperPage>& pages,
                            const std::vector<cv::Mat>& pictures) {
  double width = 0, height = 0;
  for (const layout::PaperPage& page : pages) {
    width = std::max(width, page.width_px * page.mm_per_px);
    height += page.height_px * page.mm_per_px + kBetween_mm;
  }
  std::string out = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.1f}mm\" height=\"{:.1f}mm\" viewBox=\"0 0 {:.2f} "
      "{:.2f}\" "
      "font-family=\"sans-serif\" text-anchor=\"middle\">\n",
      width, height, width, height);
  double top = 0;
  std::size_t number = 0;
  for (std::size_t k = 0; k < pages.size(); ++k) {
    const layout::PaperPage& page = pages[k];
    const double mm = page.mm_per_px;
    const auto x = [&](double px) { return (px + 0.5) * mm; };
    const auto y = [&](double px) { return (px + 0.5) * mm + top; };
    out += fmt::format(
               "<image x=\"0\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" preserveAspectRatio=\"none\" "
               "href=\"",
               top, page.width_px * mm, page.height_px * mm) +
           shown_picture(pictures[k]) + "\"/>\n";
    out += fmt::format("<path d=\"M{:.2f} {:.2f}L{:.2f} {:.2f}\" stroke=\"#b3005e\" stroke-width=\"0.8\"/>\n",
                       x(page.check_line.from_px.x()), y(page.check_line.from_px.y()),
                       x(page.check_line.to_px.x()), y(page.check_line.to_px.y()));
    for (const layout::PaperPiece& piece : page.pieces) {
      std::string path;
      Eigen::Vector2d middle(0, 0);
      double lowest = 0;
      for (const Eigen::Vector2d& p : piece.outline_px) {
        path += fmt::format("{}{:.2f} {:.2f}", path.empty() ? "M" : "L", x(p.x()), y(p.y()));
        const Eigen::Vector2d at(x(p.x()), y(p.y()));
        middle += at / static_cast<double>(piece.outline_px.size()), lowest = std::max(lowest, at.y());
      }
      // Under the middle, where the maker's own writing is.
      out += "<path d=\"" + path + "Z\" fill=\"none\" stroke=\"#0057b8\" stroke-width=\"0.4\"/>" +
             fmt::format(
                 "<text x=\"{:.1f}\" y=\"{:.1f}\" font-size=\"5\" fill=\"#00204a\" stroke=\"#ffffff\" "
                 "stroke-width=\"1.4\" paint-order=\"stroke\">",
                 middle.x(), 0.4 * middle.y() + 0.6 * lowest) +
             layout::proposed_name(number++) + "</text>\n";
    }
    top += page.height_px * mm + kBetween_mm;
  }
  return out + "</svg>\n";
}

}  // namespace interstice::app
