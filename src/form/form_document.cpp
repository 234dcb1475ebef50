#include "form/form_document.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "surface/map_picture.h"

namespace interstice::form {

using Json = nlohmann::ordered_json;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

double rounded(double x, double step = 1e-3) {
  const double y = std::round(x / step) * step;
  return y == 0 ? 0.0 : std::round(y * 1e6) / 1e6;
}

double degrees(double angle) {
  const double d = rounded(angle * 180 / std::numbers::pi, 0.1);
  return d < 0 ? rounded(d + 360, 0.1) : d;
}

Json rings_json(const Shape& shape) {
  Json out = Json::array();
  for (const Ring& ring : shape.rings) {
    out.push_back({{"z_mm", rounded(ring.z_mm)},
                   {"r_mm", rounded(ring.r_mm)},
                   {"out_of_round_mm", rounded(ring.out_of_round_mm)},
                   {"oval_mm", rounded(ring.oval_mm)},
                   {"oval_deg", degrees(ring.oval_angle)},
                   {"centre_mm", {rounded(ring.centre_mm.x()), rounded(ring.centre_mm.y())}}});
  }
  return out;
}

Json bumps_json(const Shape& shape, const BareScan& bare) {
  Json out = Json::array();
  for (const Bump& bump : shape.bumps) {
    const Vector3d p = shape.profile.point(bump.uv);
    out.push_back({{"map", {rounded(bump.uv.x(), 0.1), rounded(bump.uv.y(), 0.1)}},
                   {"at", {rounded(p.x(), 0.1), rounded(p.y(), 0.1), rounded(p.z(), 0.1)}},
                   {"height_mm", rounded(bump.height_mm)},
                   {"across_mm", rounded(bump.across_mm, 0.1)},
                   {"where", direction_words(std::atan2(bump.uv.y(), bump.uv.x()), bare.cards)},
                   {"best_photo", best_photo_of(bare.scan, shape.profile, bump.uv)}});
  }
  return out;
}

Json quality_json(const Shape& shape, const scan::Scan& scan) {
  const scan::ScanQuality& q = scan.quality;
  Json left_out = Json::array();
  for (const scan::LeftOut& l : scan.left_out) left_out.push_back({{"photo", l.photo}, {"reason", l.reason}});
  return {{"photos_given", q.photos_given},
          {"photos_used", scan.photos.size()},
          {"left_out", left_out},
          {"reprojection_rms_px", rounded(q.reprojection_rms_px)},
          {"tie_points", q.tie_points},
          {"pixel_footprint_mm", rounded(q.pixel_footprint_mm)},
          {"check_line_given", q.check_line_given},
          {"scale_u95_percent", rounded(200 * q.scale_sd)},
          {"scatter_mm", rounded(shape.scatter_mm)}};
}

}  // namespace

std::string best_photo_of(const scan::Scan& scan, const geometry::Profile& form, const Vector2d& uv) {
  const auto views = surface::views_of(scan, form.point(uv), form.normal(uv), 1, 0.0);
  return views.empty() ? "" : scan.photos[views.front()].info.name;
}

std::string direction_words(double angle, const std::vector<CardDirection>& cards) {
  if (cards.empty()) return "";
  const auto away = [&](const CardDirection& c) {
    return std::remainder(c.angle - angle, 2 * std::numbers::pi);
  };
  const auto nearest = std::min_element(cards.begin(), cards.end(), [&](const auto& a, const auto& b) {
    return std::abs(away(a)) < std::abs(away(b));
  });
  constexpr double kTowards =
      12 * std::numbers::pi / 180;  // half of what a sheet spans as seen from the axis
  if (cards.size() < 2 || std::abs(away(*nearest)) < kTowards)
    return "towards card " + std::to_string(nearest->card);
  const CardDirection* left = nullptr;
  const CardDirection* right = nullptr;
  for (const CardDirection& c : cards) {
    if (away(c) >= 0 && (!left || away(c) < away(*left))) left = &c;
    if (away(c) < 0 && (!right || away(c) > away(*right))) right = &c;
  }
  if (!left || !right) return "towards card " + std::to_string(nearest->card);
  return "between cards " + std::to_string(std::min(left->card, right->card)) + " and " +
         std::to_string(std::max(left->card, right->card));
}

std::string write_form(const Shape& shape, const BareScan& bare, const std::string& name) {
  Json root;
  root["name"] = name;
  root["units"] = "mm";
  root["profile"] = Json::array();
  for (const Vector2d& p : shape.profile.points())
    root["profile"].push_back({rounded(p.x(), 1e-4), rounded(p.y(), 1e-4)});
  root["u95_mm"] = Json::array();
  for (const double u : shape.u95_mm) root["u95_mm"].push_back(rounded(u));
  root["unseen"] = {{"pole_mm", rounded(shape.unseen_pole_mm, 0.1)},
                    {"rim_mm", rounded(shape.unseen_rim_mm, 0.1)},
                    {"area_percent", rounded(100 * (1 - shape.seen_share), 0.1)}};
  root["lean_deg"] = rounded(shape.lean_deg, 0.01);
  root["lean_towards_deg"] = degrees(shape.lean_angle);
  root["rings"] = rings_json(shape);
  root["bumps"] = bumps_json(shape, bare);
  root["cards"] = Json::array();
  for (const CardDirection& c : bare.cards)
    root["cards"].push_back({{"card", c.card}, {"towards_deg", degrees(c.angle)}});
  root["quality"] = quality_json(shape, bare.scan);
  return root.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace interstice::form
