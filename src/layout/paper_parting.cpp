#include "layout/paper_parting.h"

#include <algorithm>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <optional>

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

// Regions of pixels farther from the edge than a level that sinks; each knows how far its middle reaches.
class Growing {
 public:
  explicit Growing(std::size_t pixels) : parent_(pixels, kNone), reach_(pixels, 0), area_(pixels, 0) {}

  bool holds(std::size_t i) const { return parent_[i] != kNone; }
  void begin(std::size_t i, float reach) { parent_[i] = i, reach_[i] = reach, area_[i] = 1; }
  std::size_t root(std::size_t i) {
    while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
    return i;
  }
  float reach(std::size_t root) const { return reach_[root]; }
  double area(std::size_t root) const { return area_[root]; }
  void join(std::size_t into, std::size_t from) { parent_[from] = into, area_[into] += area_[from]; }

 private:
  static constexpr std::size_t kNone = static_cast<std::size_t>(-1);
  std::vector<std::size_t> parent_;
  std::vector<float> reach_;
  std::vector<double> area_;
};

// Where two parts grow together, and the half-width there against the smaller part's.
struct Meeting {
  cv::Point at;
  double half_px = 0, of_width = 0;
};

std::vector<Meeting> meetings(const cv::Mat& distance, double least_px, double least_area_px) {
  const auto wide = static_cast<std::size_t>(distance.cols);
  std::vector<std::size_t> order;
  for (int y = 1; y + 1 < distance.rows; ++y) {
    for (int x = 1; x + 1 < distance.cols; ++x) {
      if (distance.at<float>(y, x) > 0)
        order.push_back(static_cast<std::size_t>(y) * wide + static_cast<std::size_t>(x));
    }
  }
  const auto far = [&](std::size_t i) {
    return distance.at<float>(static_cast<int>(i / wide), static_cast<int>(i % wide));
  };
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return far(a) > far(b); });
  Growing growing(distance.total());
  std::vector<Meeting> found;
  for (const std::size_t i : order) {
    growing.begin(i, far(i));
    for (const std::size_t j :
         {i - wide - 1, i - wide, i - wide + 1, i - 1, i + 1, i + wide - 1, i + wide, i + wide + 1}) {
      if (!growing.holds(j)) continue;
      std::size_t a = growing.root(i), b = growing.root(j);
      if (a == b) continue;
      if (growing.reach(a) < growing.reach(b)) std::swap(a, b);
      // A neck's own band of pixels, half a neck wide all round, belongs to both.
      const double half = static_cast<double>(far(i)), reach = static_cast<double>(growing.reach(b));
      if (reach >= least_px && half < kWaist * reach && growing.area(b) >= least_area_px / 3)
        found.push_back(
            {cv::Point(static_cast<int>(i % wide), static_cast<int>(i / wide)), half, half / reach});
      growing.join(a, b);
    }
  }
  return found;
}

// The shortest way across the region through a place: from the nearest place beside it to the nearest that
// lies the other way.
std::optional<PaperNeck> across(const std::vector<cv::Point>& edge, const Meeting& meeting) {
  const Vector2d at(meeting.at.x, meeting.at.y);
  const auto nearest = [&](const auto& wanted) -> std::optional<Vector2d> {
    std::optional<Vector2d> best;
    for (const cv::Point& p : edge) {
      const Vector2d q(p.x, p.y);
      if (wanted(q) && (!best || (q - at).norm() < (*best - at).norm())) best = q;
    }
    return best;
  };
  const auto one = nearest([](const Vector2d&) { return true; });
  if (!one) return std::nullopt;
  const Vector2d way = *one - at;
  const auto other =
      nearest([&](const Vector2d& q) { return (q - at).dot(way) < -0.5 * way.norm() * (q - at).norm(); });
  if (!other) return std::nullopt;
  return PaperNeck{*one, *other, meeting.of_width};
}

}  // namespace

std::vector<PaperNeck> paper_necks(const cv::Mat& region, double least_px, double least_area_px) {
  cv::Mat framed, distance;
  cv::copyMakeBorder(region, framed, 1, 1, 1, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::distanceTransform(framed, distance, cv::DIST_L2, cv::DIST_MASK_PRECISE);
  // The background beside it: a neck of one pixel has no inside.
  cv::Mat beside;
  cv::dilate(framed, beside, cv::Mat());
  beside -= framed;
  std::vector<cv::Point> edge;
  cv::findNonZero(beside, edge);
  std::vector<PaperNeck> necks;
  for (const Meeting& meeting : meetings(distance, least_px, least_area_px)) {
    if (auto neck = across(edge, meeting)) {
      neck->from_px -= Vector2d(1, 1), neck->to_px -= Vector2d(1, 1);
      necks.push_back(*neck);
    }
  }
  std::stable_sort(necks.begin(), necks.end(),
                   [](const PaperNeck& a, const PaperNeck& b) { return a.of_width < b.of_width; });
  return necks;
}

}  // namespace interstice::layout
