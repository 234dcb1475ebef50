#include "camera/edge_spread.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>

#include "camera/corner.h"

namespace interstice::camera {
namespace {

using Eigen::Vector2d;

constexpr std::size_t kFewestEdges = 12;
// A stretch of an edge so short that a bent lens or sheet does not smear it, long enough to average the noise.
constexpr double kStretch_px = 24;
// Enough of both sides to see their levels; more than this tells nothing about an edge worth asking about.
constexpr double kLeastReach_px = 4, kMostReach_px = 16;
constexpr double kLeastEdgeContrast = 30;  // grey levels, ten times a phone picture's noise

struct Sample {
  double distance_px, grey;
};

// Pixels within `reach` of the line through `middle` along `along` (unit), half a stretch either way.
std::vector<Sample> samples_round(const cv::Mat& grey, const Vector2d& middle, const Vector2d& along,
                                  double reach, double half_length) {
  const Vector2d across(-along.y(), along.x());
  const Vector2d half = half_length * along.cwiseAbs() + reach * across.cwiseAbs();
  const Vector2d first = (middle - half).array().ceil(), last = (middle + half).array().floor();
  if (first.minCoeff() < 0 || last.x() > grey.cols - 1 || last.y() > grey.rows - 1) return {};
  std::vector<Sample> out;
  for (int y = static_cast<int>(first.y()); y <= static_cast<int>(last.y()); ++y) {
    for (int x = static_cast<int>(first.x()); x <= static_cast<int>(last.x()); ++x) {
      const Vector2d off = Vector2d(x, y) - middle;
      if (std::abs(along.dot(off)) <= half_length && std::abs(across.dot(off)) <= reach)
        out.push_back({across.dot(off), static_cast<double>(grey.at<uchar>(y, x))});
    }
  }
  return out;
}

// Least squares by Gauss and Newton; nothing when it does not settle on an edge within the samples.
std::optional<double> fitted_spread(const std::vector<Sample>& samples, double reach) {
  double below = 0, above = 0, n_below = 0, n_above = 0;
  for (const Sample& s : samples) {
    if (s.distance_px < -reach / 2) below += s.grey, ++n_below;
    if (s.distance_px > reach / 2) above += s.grey, ++n_above;
  }
  if (n_below == 0 || n_above == 0) return std::nullopt;
  Eigen::Vector4d p(below / n_below, above / n_above, 0, 1);  // levels, place, logarithm-free spread
  for (int round = 0; round < 30; ++round) {
    Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
    Eigen::Vector4d right = Eigen::Vector4d::Zero();
    for (const Sample& s : samples) {
      const double t = (s.distance_px - p[2]) / p[3];
      const double share = std::erfc(-t / std::numbers::sqrt2) / 2;
      const double slope = (p[1] - p[0]) * std::exp(-t * t / 2) / (p[3] * std::sqrt(2 * std::numbers::pi));
      const Eigen::Vector4d gradient(1 - share, share, -slope, -slope * t);
      normal += gradient * gradient.transpose();
      right += gradient * (s.grey - p[0] - (p[1] - p[0]) * share);
    }
    Eigen::Vector4d step = normal.ldlt().solve(right);
    if (!step.allFinite()) return std::nullopt;
    step[3] = std::clamp(step[3], -p[3] / 2, p[3]);
    p += step;
    if (std::abs(p[2]) > reach / 2 || p[3] > reach) return std::nullopt;
    if (step.tail<2>().norm() < 1e-4) break;
  }
  if (std::abs(p[1] - p[0]) < kLeastEdgeContrast || 3 * p[3] > reach) return std::nullopt;
  return p[3];
}

// Of the edge between two neighbouring corners of a card.
std::optional<double> spread_between(const cv::Mat& grey, const Eigen::Matrix3d& pixel_H_card, int from,
                                     int to, const Vector2d& from_px, const Vector2d& to_px) {
  const double length = (to_px - from_px).norm();
  const Vector2d along = (to_px - from_px) / length, across(-along.y(), along.x());
  const Vector2d card_from = card_point(from).head<2>(), card_to = card_point(to).head<2>();
  const Vector2d card_along = (card_to - card_from).normalized(),
                 card_across(-card_along.y(), card_along.x());
  // The white margin round a marker is all that is even on either side.
  const double margin_px =
      (kSquareMm - kMarkerMm) / 2 *
      std::abs(across.dot(map_jacobian(pixel_H_card, (card_from + card_to) / 2) * card_across));
  const double reach = std::min(kMostReach_px, 0.8 * margin_px);
  if (!(reach >= kLeastReach_px)) return std::nullopt;
  // Its corners smear an edge's ends.
  const double half_length = std::min(kStretch_px / 2, length / 2 - reach);
  if (half_length < 4) return std::nullopt;
  return fitted_spread(samples_round(grey, (from_px + to_px) / 2, along, reach, half_length), reach);
}

std::vector<double> spreads_of(const cv::Mat& grey, const CardView& card) {
  std::vector<cv::Point2d> on_card, on_photo;
  for (std::size_t i = 0; i < card.corner_id.size(); ++i) {
    const Vector2d p = card_point(card.corner_id[i]).head<2>();
    on_card.emplace_back(p.x(), p.y());
    on_photo.emplace_back(card.pixel[i].x(), card.pixel[i].y());
  }
  const cv::Mat h = cv::findHomography(on_card, on_photo);
  if (h.empty()) return {};
  Eigen::Matrix3d pixel_H_card;
  for (int r = 0; r < 3; ++r) {
    for (int c = 0; c < 3; ++c) pixel_H_card(r, c) = h.at<double>(r, c);
  }
  std::vector<double> out;
  for (std::size_t i = 0; i < card.corner_id.size(); ++i) {
    for (std::size_t j = i + 1; j < card.corner_id.size(); ++j) {
      const int from = card.corner_id[i], to = card.corner_id[j];
      const bool neighbours = (card_point(to) - card_point(from)).norm() < 1.1 * kSquareMm;
      if (!neighbours) continue;
      if (const auto s = spread_between(grey, pixel_H_card, from, to, card.pixel[i], card.pixel[j]))
        out.push_back(*s);
    }
  }
  return out;
}

}  // namespace

std::optional<double> edge_spread_px(const cv::Mat& grey, const std::vector<CardView>& cards) {
  CV_Assert(grey.type() == CV_8UC1);
  std::vector<double> spreads;
  for (const CardView& card : cards) {
    const std::vector<double> of_card = spreads_of(grey, card);
    spreads.insert(spreads.end(), of_card.begin(), of_card.end());
  }
  if (spreads.size() < kFewestEdges) return std::nullopt;
  const auto quarter = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 4);
  std::nth_element(spreads.begin(), quarter, spreads.end());
  return *quarter;
}

}  // namespace interstice::camera
