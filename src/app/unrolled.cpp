#include "app/unrolled.h"

#include <fmt/core.h>

#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "core/errors.h"
#include "report/markup.h"

namespace fs = std::filesystem;

namespace interstice::app {
namespace {

std::string checked_png(const std::string& name) {
  if (fs::path(name).extension() != ".png") throw core::InputError(name, "the name must end in .png");
  return name;
}

struct LookAgain {
  std::string label, why;
};

// A line of TraceResult::look_again is "label: reason".
std::vector<LookAgain> items_of(const layout::TraceResult& traced) {
  std::vector<LookAgain> items;
  for (const std::string& line : traced.look_again) {
    const std::size_t colon = line.find(": ");
    items.push_back({line.substr(0, colon), line.substr(colon + 2)});
  }
  return items;
}

std::string scale_document(const geometry::OrthoPicture& picture, const std::vector<LookAgain>& items) {
  nlohmann::ordered_json document = {{"format", "interstice-unrolled"},
                                     {"version", 1},
                                     {"mm_per_px", picture.mm_per_px},
                                     {"cx", picture.cx},
                                     {"cy", picture.cy},
                                     {"width", picture.bgr.cols},
                                     {"height", picture.bgr.rows},
                                     {"look_again", nlohmann::ordered_json::array()}};
  for (const LookAgain& item : items)
    document["look_again"].push_back({{"label", item.label}, {"why", item.why}});
  return document.dump(1) + "\n";
}

std::string over_document(const std::string& png, const geometry::OrthoPicture& picture,
                          const plan::Plan& plan, const std::vector<LookAgain>& items) {
  const double w = picture.bgr.cols * picture.mm_per_px, h = picture.bgr.rows * picture.mm_per_px;
  const double left = -(picture.cx + 0.5) * picture.mm_per_px, top = -(picture.cy + 0.5) * picture.mm_per_px;
  std::string out = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.1f}mm\" height=\"{:.1f}mm\" viewBox=\"{:.3f} "
      "{:.3f} {:.3f} "
      "{:.3f}\" font-family=\"sans-serif\" font-size=\"5\" text-anchor=\"middle\">\n",
      w, h, left, top, w, h);
  out += "<image href=\"" + report::escaped(png) + "\" preserveAspectRatio=\"none\" " +
         fmt::format("x=\"{:.3f}\" y=\"{:.3f}\" width=\"{:.3f}\" height=\"{:.3f}\"/>\n", left, top, w, h);
  for (const plan::PlannedTile& tile : plan.tiles) {
    std::string path, why;
    for (const LookAgain& item : items) {
      if (item.label == tile.label) why += (why.empty() ? "" : "; ") + item.why;
    }
    for (const Eigen::Vector2d& p : tile.outline)
      path += fmt::format("{}{:.2f} {:.2f}", path.empty() ? "M" : "L", p.x(), -p.y());
    const Eigen::Vector2d middle = geometry::centroid(tile.outline);
    out += "<g><title>" + report::escaped(tile.label + (why.empty() ? "" : ": " + why)) +
           "</title><path d=\"" + path + "Z\" fill=\"#ffffff\" fill-opacity=\"0.01\" stroke=\"" +
           (why.empty() ? "#0057b8\" stroke-width=\"0.5\""
                        : "#b3005e\" stroke-width=\"1.2\" stroke-dasharray=\"3 2\"") +
           "/>" +
           fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" fill=\"{}\">", middle.x(), -middle.y() + 8,
                       why.empty() ? "#00204a" : "#b3005e") +
           report::escaped(tile.label) + "</text></g>\n";
  }
  return out + "</svg>\n";
}

}  // namespace

UnrolledOutput::UnrolledOutput(const std::string& png, const core::Inputs& inputs)
    : name_(fs::path(png).filename().string()),
      picture_(checked_png(png), core::FileKind::png(), inputs),
      scale_(fs::path(png).replace_extension(".json"), core::FileKind::json("interstice-unrolled"), inputs),
      over_(fs::path(png).replace_extension(".svg"), core::FileKind::svg(), inputs) {}

void UnrolledOutput::write(const geometry::OrthoPicture& picture, const layout::TraceResult& traced) {
  std::vector<unsigned char> png;
  if (!cv::imencode(".png", picture.bgr, png)) throw core::InputError(name_, "cannot be made a picture");
  const std::vector<LookAgain> items = items_of(traced);
  picture_.write(std::string(png.begin(), png.end()));
  scale_.write(scale_document(picture, items));
  over_.write(over_document(name_, picture, traced.plan, items));
}

}  // namespace interstice::app
