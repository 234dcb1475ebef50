#include "report/refill_marks.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "refill/refill_words.h"
#include "report/photo_pen.h"

namespace interstice::report {
namespace {

void draw_hollow(cv::Mat& picture, const PhotoView& view, const refill::Hollow& hollow, std::size_t number,
                 double unit, LabelPlaces& places) {
  std::vector<cv::Point2d> rim;
  for (const Eigen::Vector3d& p : hollow.rim) rim.push_back(view.place(p));
  if (rim.empty()) return;
  const int thin = std::max(1, static_cast<int>(std::lround(unit)));
  const cv::Scalar colour = hollow.kind == refill::HollowKind::slot ? kVermillion : kBlue;
  draw_line(picture, rim, true, kWhite, 3 * thin);
  draw_line(picture, rim, true, colour, thin);
  const cv::Point2d middle = view.place(hollow.at);
  double radius = 8 * unit;
  for (const cv::Point2d& p : rim)
    radius = std::max(radius, std::hypot(p.x - middle.x, p.y - middle.y) + 5 * unit);
  const cv::Point at(static_cast<int>(middle.x), static_cast<int>(middle.y));
  cv::circle(picture, at, static_cast<int>(radius), colour, 2 * thin, cv::LINE_AA);
  label(picture, std::to_string(number),
        {at.x + static_cast<int>(0.75 * radius), at.y - static_cast<int>(0.75 * radius)}, 0.5 * unit, colour,
        places);
}

}  // namespace

std::vector<MarkedPhoto> mark_hollows(const scan::Scan& scan, const seams::FitDocument& dry,
                                      const refill::RefillDocument& document, int longest_px, int threads) {
  const std::vector<std::size_t> order = refill::in_working_order(document);
  std::vector<std::size_t> number(order.size());
  for (std::size_t k = 0; k < order.size(); ++k) number[order[k]] = k + 1;
  std::map<std::string, std::vector<std::size_t>> by_photo;
  for (const std::size_t i : order) by_photo[document.hollows[i].best_photo].push_back(i);
  return draw_on_photos(scan, dry, by_photo, longest_px, threads,
                        [&](cv::Mat& picture, const PhotoView& view, const std::vector<std::size_t>& drawn,
                            double unit, LabelPlaces& places) {
                          for (const std::size_t i : drawn)
                            draw_hollow(picture, view, document.hollows[i], number[i], unit, places);
                        });
}

}  // namespace interstice::report
