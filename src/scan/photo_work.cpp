#include "scan/photo_work.h"

#include <fmt/core.h>

#include <array>
#include <bit>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "camera/edge_spread.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/sha256.h"
#include "scan/card_poses.h"
#include "scan/carried_size.h"
#include "scan/kept_bytes.h"
#include "scan/photo_lenses.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kSearchedHeights = 1.1;  // of the form's height with its pieces
// The middle of the form's height is looked at; a hand's aim is off by a tenth of what is searched. Where it is off by
// more, the features are looked for again once it is known where the form stands.
constexpr double kAimHeight = 0.5 / kSearchedHeights, kAimSlack = 1.1;
constexpr int kMostFeatures = 14000;  // twice as many as are tied: more is searched than will be asked for

std::string digest_of(const std::filesystem::path& photo) {
  try {
    return core::sha256_of(core::read_file(photo));
  } catch (const core::InputError&) {
    return "";
  }
}

// To the last bit.
std::string exact(const camera::Lens& lens, const SearchSpace& space) {
  std::string out = std::to_string(lens.width) + "x" + std::to_string(lens.height);
  const camera::LensVector p = lens.parameters();
  std::vector<double> numbers(p.data(), p.data() + p.size());
  numbers.insert(numbers.end(), {space.radius_mm, space.height_mm});
  for (const double x : numbers) out += fmt::format(" {:a}", x);
  return out;
}

}  // namespace

SearchSpace search_space(const plan::Plan& plan) {
  const double reach = plan.profile.points().back().x() + plan.tile_thickness_mm;
  const double height = plan.profile.points().front().y() + plan.tile_thickness_mm;
  return {1.35 * reach, kSearchedHeights * height};
}

cv::Mat cylinder_mask(const camera::Lens& lens, const Isometry3d& camera_T_level, const Vector2d& aim_mm,
                      const SearchSpace& space) {
  cv::Mat mask = cv::Mat::zeros(lens.height, lens.width, CV_8U);
  std::vector<cv::Point> hull, points;
  for (const double z : {0.0, space.height_mm}) {
    for (int k = 0; k < 36; ++k) {
      const double a = k * std::numbers::pi / 18;
      const Vector2d at = aim_mm + space.radius_mm * Vector2d(std::cos(a), std::sin(a));
      const Vector2d uv = lens.project(camera_T_level * Vector3d(at.x(), at.y(), z));
      if (!uv.allFinite()) return cv::Mat(lens.height, lens.width, CV_8U, cv::Scalar(255));
      points.emplace_back(static_cast<int>(std::clamp(uv.x(), -1e5, 1e5)),
                          static_cast<int>(std::clamp(uv.y(), -1e5, 1e5)));
    }
  }
  cv::convexHull(points, hull);
  cv::fillConvexPoly(mask, hull, 255);
  return mask;
}

void leave_out_sheet(const camera::Lens& lens, const Isometry3d& camera_T_card, cv::Mat& mask) {
  std::vector<cv::Point> sheet;
  for (const auto& [sx, sy] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
    const Vector2d uv = lens.project(
        camera_T_card * Vector3d(sx * camera::kSheetWidthMm / 2, sy * camera::kSheetHeightMm / 2, 0));
    if (!uv.allFinite()) return;
    sheet.emplace_back(static_cast<int>(uv.x()), static_cast<int>(uv.y()));
  }
  cv::fillConvexPoly(mask, sheet, 0);
}

PhotoWork::PhotoWork(camera::PhotoInfo info, camera::Lens start, const core::KeptWork* kept)
    : info_(std::move(info)), start_(std::move(start)), kept_(kept) {
  if (kept_) digest_ = digest_of(info_.path);
  if (digest_.empty()) kept_ = nullptr;
  if (info_.reduced > 1) digest_ += " carried at 1/" + std::to_string(info_.reduced);
}

std::optional<double> PhotoWork::edge_spread() const {
  using Bytes = std::array<char, sizeof(double)>;
  const std::string made_from = "edge spread of " + digest_;
  const auto known = [](double spread) { return spread > 0 ? std::optional(spread) : std::nullopt; };
  if (kept_) {
    const auto bytes = kept_->find(made_from);
    Bytes number{};
    if (bytes && bytes->copy(number.data(), number.size()) == number.size())
      return known(std::bit_cast<double>(number));
  }
  const cv::Mat grey = camera::read_photo_grey(info_);
  const double spread = camera::edge_spread_px(grey, camera::detect_cards(grey)).value_or(0);
  if (kept_) {
    const auto number = std::bit_cast<Bytes>(spread);
    kept_->put(made_from, std::string_view(number.data(), number.size()));
  }
  return known(spread);
}

std::vector<camera::CardView> PhotoWork::cards(camera::PhotoStore& store) const {
  const std::string made_from = "cards of " + digest_;
  if (kept_) {
    if (const auto bytes = kept_->find(made_from)) {
      if (auto cards = cards_from_bytes(*bytes)) return std::move(*cards);
    }
  }
  std::vector<camera::CardView> cards = camera::detect_cards(store.grey(info_));
  if (kept_) kept_->put(made_from, bytes_of(cards));
  return cards;
}

cv::Mat PhotoWork::region(const std::vector<camera::CardView>& cards, const SearchSpace& space) const {
  std::vector<CardPose> sheets;
  std::optional<CardPose> best;
  for (const camera::CardView& card : cards) {
    const auto pose = card_pose(start_, card, 1.0);
    if (!pose) continue;
    sheets.push_back(*pose);
    if (!best || pose->cost() < best->cost()) best = pose;
  }
  const cv::Mat everywhere(info_.height, info_.width, CV_8U, cv::Scalar(255));
  if (!best) return everywhere;
  const Isometry3d card_T_camera = best->camera_T_card.inverse();
  const Vector3d from = card_T_camera.translation(), axis = card_T_camera.linear().col(2);
  const double down = (from.z() - kAimHeight * space.height_mm) / -axis.z();
  if (!(down > 0) || down * axis.head<2>().norm() > 20 * space.radius_mm) return everywhere;
  const Vector2d aim = (from + down * axis).head<2>();
  cv::Mat mask = cylinder_mask(start_, best->camera_T_card, aim,
                               {kAimSlack * space.radius_mm, kAimSlack * space.height_mm});
  for (const CardPose& sheet : sheets) leave_out_sheet(start_, sheet.camera_T_card, mask);
  return mask;
}

Features PhotoWork::features(const cv::Mat& region, const std::vector<camera::CardView>& cards,
                             const SearchSpace& space, camera::PhotoStore& store) const {
  // The cards stand for themselves: they follow from the photo.
  const std::string made_from =
      "features of " + digest_ + ", " + std::to_string(cards.size()) + " cards, " + exact(start_, space);
  if (kept_) {
    if (const auto bytes = kept_->find(made_from)) {
      if (auto features = features_from_bytes(*bytes)) return std::move(*features);
    }
  }
  Features features = find_features(store.grey(info_), region, kMostFeatures);
  if (kept_) kept_->put(made_from, bytes_of(features));
  return features;
}

void prepare_photo(const std::filesystem::path& photo, const std::optional<camera::Lens>& lens,
                   const SearchSpace& space, const core::KeptWork& kept) {
  // Photos of one lens are carried alike (scan/carried_size.h): where the others say otherwise, the work is done again.
  std::vector<std::optional<camera::PhotoInfo>> alone{camera::read_photo_info(photo)};
  carry_resolved_pixels(alone, &kept, 1);
  const camera::PhotoInfo& info = *alone.front();
  const PhotoWork work(info, start_lens(info, lens).lens, &kept);
  camera::PhotoStore store;
  const std::vector<camera::CardView> cards = work.cards(store);
  work.features(work.region(cards, space), cards, space, store);
}

}  // namespace interstice::scan
