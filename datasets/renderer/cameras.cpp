#include "renderer/cameras.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "renderer/angles.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kSheetLong = 210, kSheetShort = 148;
constexpr double kFocalOverWidth = 0.7466;  // of a phone's main camera, about 26 mm in 35 mm terms

struct View {
  double elevation_deg, azimuth_deg;
};

std::vector<View> views(const CameraOptions& o, bool card_alone) {
  const int high = o.photos >= 8 ? std::max(2, o.photos / 10) : o.photos >= 4 ? 1 : 0;
  const int low = (o.photos - high + 1) / 2, middle = o.photos - high - low;
  std::vector<View> out;
  const auto add_ring = [&](int count, double elevation, double shift) {
    for (int k = 0; k < count; ++k) {
      const double whole = o.arc_deg >= 360 ? 360.0 * k / count : o.arc_deg * ((k + 0.5) / count - 0.5);
      out.push_back({elevation, whole + shift});
    }
  };
  add_ring(low, card_alone ? 45 : 22, 0);
  add_ring(middle, card_alone ? 66 : 50, o.arc_deg / std::max(2, 2 * middle) * 0.5);
  add_ring(high, 80, 20);
  return out;
}

Shot aim(const SceneOptions& o, const View& view, const Vector3d& target, int number) {
  const CameraOptions& c = o.camera;
  Random random(
      key(o.seed, 41, static_cast<std::uint64_t>(number), static_cast<std::uint64_t>(o.camera.session)));
  Shot s;
  char name[24];
  std::snprintf(name, sizeof name, "photo_%02d", number + 1);
  s.name = name;
  s.width_px = c.width_px;
  s.height_px = c.height_px;
  const double focal = c.focal_px > 0 ? c.focal_px : kFocalOverWidth * c.width_px;
  s.focal_px = focal * (1 + c.focal_spread * random.bounded_normal(2.5));
  s.cx_px = 0.5 * (c.width_px - 1) + 0.0015 * c.width_px;
  s.cy_px = 0.5 * (c.height_px - 1) - 0.0045 * c.height_px;
  s.k1 = c.k1, s.k2 = c.k2, s.k3 = c.k3, s.p1 = c.p1, s.p2 = c.p2;
  s.aperture_mm = c.aperture_mm;
  s.exposure = 1 + 0.07 * random.bounded_normal(2);
  s.portrait = c.portrait_every > 0 && number % c.portrait_every == c.portrait_every - 1;
  const double elevation = radians(view.elevation_deg + 2.5 * random.bounded_normal(1.6));
  const double azimuth = radians(view.azimuth_deg + 3 * random.bounded_normal(1.6) + o.layout.turn_deg);
  const double distance = focal * c.footprint_mm * (1 + 0.03 * random.bounded_normal(2));
  const Vector3d away(std::cos(elevation) * std::cos(azimuth), std::cos(elevation) * std::sin(azimuth),
                      std::sin(elevation));
  // A lens is calibrated from photos with the card all over the frame; a form is kept in the middle.
  const double jitter = (o.layout.rings_placed < 0 ? 0.09 : 0.012) * distance;
  const Vector3d aimed = target + jitter * Vector3d(random.bounded_normal(2), random.bounded_normal(2),
                                                    random.bounded_normal(2));
  const Vector3d centre = target + distance * away;
  const Vector3d z = (aimed - centre).normalized();
  const Vector3d right(-std::sin(azimuth), std::cos(azimuth), 0);
  const double roll = radians(2 * random.bounded_normal(2)) + (s.portrait ? 0.5 * std::numbers::pi : 0);
  const Vector3d y0 = z.cross(right).normalized(), x0 = y0.cross(z);
  // Held upright, the sensor's x axis points down in the world (orientation tag 6).
  s.camera_R_bowl.row(0) = std::cos(roll) * x0 + std::sin(roll) * y0;
  s.camera_R_bowl.row(1) = -std::sin(roll) * x0 + std::cos(roll) * y0;
  s.camera_R_bowl.row(2) = z;
  s.camera_t_bowl = -s.camera_R_bowl * centre;
  const double reach = 0.75 * o.form.rim_radius_mm + o.layout.thickness_mm;
  s.focus_mm = o.layout.rings_placed < 0 ? distance : std::max(0.5 * distance, distance - reach);
  s.focus_mm *= 1 + 0.02 * random.bounded_normal(2);
  return s;
}

}  // namespace

Vector2d Shot::distorted(const Vector2d& n) const {
  const double x = n.x(), y = n.y(), r2 = x * x + y * y;
  const double f = 1 + r2 * (k1 + r2 * (k2 + r2 * k3));
  Vector2d p(focal_px * (x * f + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx_px,
             focal_px * (y * f + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy_px);
  if (row_shift_px.isZero(0) && !wave) return p;
  const Vector2d rows = (p.y() / height_px - 0.5) * row_shift_px;
  return p + rows + (wave ? wave->at(p) : Vector2d(0, 0));
}

Vector2d Shot::undistorted(const Vector2d& pixel) const {
  const Vector2d want((pixel.x() - cx_px) / focal_px, (pixel.y() - cy_px) / focal_px);
  Vector2d n = want;
  for (int k = 0; k < 40; ++k) {
    const Vector2d d = distorted(n);
    const Vector2d miss = want - Vector2d((d.x() - cx_px) / focal_px, (d.y() - cy_px) / focal_px);
    n += miss;
    if (miss.norm() < 1e-12) break;
  }
  return n;
}

Vector2d Shot::project(const Vector3d& p_bowl) const {
  const Vector3d p = camera_R_bowl * p_bowl + camera_t_bowl;
  return distorted({p.x() / p.z(), p.y() / p.z()});
}

namespace {

// cos and sin of the way the sheet is bent.
Vector2d bent_along(const CardPlace& card) {
  return {std::cos(card.curl_towards_rad), std::sin(card.curl_towards_rad)};
}

}  // namespace

Vector3d CardPlace::on_sheet(double x, double y) const {
  if (curl_per_mm == 0) return frame.to_bowl({x, y, 0});
  const Vector2d d = bent_along(*this);
  const double s = d.dot(Vector2d(x, y)), t = d.x() * y - d.y() * x, angle = curl_per_mm * s;
  const double over = std::sin(angle) / curl_per_mm, up = (1 - std::cos(angle)) / curl_per_mm;
  return frame.to_bowl({d.x() * over - d.y() * t, d.y() * over + d.x() * t, up});
}

Vector3d CardPlace::normal_at(double x, double y) const {
  if (curl_per_mm == 0) return frame.axes.col(2);
  const Vector2d d = bent_along(*this);
  const double angle = curl_per_mm * d.dot(Vector2d(x, y));
  return frame.axes * Vector3d(-std::sin(angle) * d.x(), -std::sin(angle) * d.y(), std::cos(angle));
}

Vector2d CardPlace::flat(const Vector3d& p_bowl) const {
  const Vector3d q = frame.from_bowl(p_bowl);
  if (curl_per_mm == 0) return q.head<2>();
  const Vector2d d = bent_along(*this);
  const double t = d.x() * q.y() - d.y() * q.x();
  const double s = std::asin(std::clamp(curl_per_mm * d.dot(q.head<2>()), -1.0, 1.0)) / curl_per_mm;
  return {d.x() * s - d.y() * t, d.y() * s + d.x() * t};
}

namespace {

// Bends a sheet that lies flat; where its middle rises its ends stay on the bench.
void curl(const SceneOptions& o, std::uint64_t number, CardPlace& card) {
  if (o.cards.curl_mm <= 0) return;
  Random random(key(o.seed, 97, number, static_cast<std::uint64_t>(o.camera.session)));
  const double rise = o.cards.curl_mm * random.between(-1, 1);
  card.curl_towards_rad = random.between(0, std::numbers::pi);
  const Vector2d d = bent_along(card).cwiseAbs();
  const double far = 0.5 * (kSheetLong * d.x() + kSheetShort * d.y());
  // (1 - cos(k far)) / k = rise, by a few steps from the parabola's k.
  double k = 2 * rise / (far * far);
  for (int step = 0; step < 20 && k != 0; ++step) k *= rise * k / (1 - std::cos(k * far));
  card.curl_per_mm = k;
  if (rise < 0) card.frame.origin -= rise * card.frame.axes.col(2);
}

// Cards round the second bowl, on the side of the first.
void add_second_cards(const SceneOptions& o, std::vector<CardPlace>& out) {
  const std::vector<int>& cards = o.second_bowl.cards;
  const double radius = o.form.rim_radius_mm + o.layout.thickness_mm + 14 + 0.5 * kSheetShort;
  for (std::size_t k = 0; k < cards.size(); ++k) {
    const double a = radians(70.0 * (static_cast<double>(k) - 0.5 * static_cast<double>(cards.size() - 1)));
    CardPlace card;
    card.card = cards[k];
    card.print_scale = o.cards.print_scale;
    card.frame.origin = Vector3d(radius * std::cos(a) - o.second_bowl.distance_mm, radius * std::sin(a),
                                 0.3 + 0.02 * static_cast<double>(k));
    card.frame.axes.col(0) = Vector3d(-std::sin(a), std::cos(a), 0);
    card.frame.axes.col(1) = Vector3d(-std::cos(a), -std::sin(a), 0);
    curl(o, 100 + k, card);
    out.push_back(card);
  }
}

}  // namespace

std::vector<CardPlace> place_cards(const SceneOptions& o, int photo) {
  std::vector<CardPlace> out;
  const auto n = static_cast<double>(o.cards.cards.size());
  // Sheets lie with their long side along the ring: far enough out to clear the shell and each other.
  const double apart = n > 2 ? 0.5 * kSheetLong / std::tan(std::numbers::pi / n) : 0;
  const double shell = o.form.rim_radius_mm + o.layout.thickness_mm + 14;
  const bool alone = o.layout.rings_placed < 0;
  const double radius = alone ? 0 : std::max(apart, shell) + 0.5 * kSheetShort + 4;
  for (std::size_t k = 0; k < o.cards.cards.size(); ++k) {
    Random random(key(o.seed, 43, k, static_cast<std::uint64_t>(o.camera.session)));
    const double a =
        radians(360 * static_cast<double>(k) / n + random.between(-2, 2) + 15 + o.layout.turn_deg);
    const double turn = alone ? 0 : a + 0.5 * std::numbers::pi + radians(random.between(-4, 4));
    CardPlace card;
    card.card = o.cards.cards[k];
    card.print_scale = o.cards.print_scale * (card.card == o.cards.odd ? o.cards.odd_scale : 1);
    card.frame.origin =
        Vector3d(radius * std::cos(a), radius * std::sin(a), 0.12 + 0.02 * static_cast<double>(k));
    if (card.card == o.cards.moved && photo >= o.cards.moved_after)
      card.frame.origin += o.cards.moved_mm * Vector3d(-std::sin(a), std::cos(a), 0);
    if (o.cards.moved == kAllCards && photo >= o.cards.moved_after)
      card.frame.origin += o.cards.moved_mm * Vector3d(0.6, 0.8, 0);
    card.frame.axes.col(0) = Vector3d(std::cos(turn), std::sin(turn), 0);
    card.frame.axes.col(1) = Vector3d(-std::sin(turn), std::cos(turn), 0);
    curl(o, k, card);
    out.push_back(card);
  }
  if (o.second_bowl.distance_mm > 0) add_second_cards(o, out);
  return out;
}

namespace {

// Shutter, lens and hand: from numbers of their own, so that poses stay where they are without them.
void trouble(const SceneOptions& o, std::vector<Shot>& shots) {
  const CameraOptions& c = o.camera;
  const auto session = static_cast<std::uint64_t>(c.session);
  std::shared_ptr<const LensWave> wave;
  if (c.lens_wave_px > 0)
    wave = std::make_shared<LensWave>(c.width_px, c.height_px, c.lens_wave_px, key(o.seed, 101));
  std::vector<std::pair<std::uint64_t, std::size_t>> lots;  // the lowest are smeared
  for (std::size_t i = 0; i < shots.size(); ++i) {
    Random random(key(o.seed, 103, i, session));
    const double across = random.between(-1, 1), down = random.between(-1, 1);
    shots[i].row_shift_px = c.row_shift_px * Vector2d(across, down);
    shots[i].wave = wave;
    lots.emplace_back(key(o.seed, 107, i, session), i);
  }
  std::sort(lots.begin(), lots.end());
  lots.resize(static_cast<std::size_t>(std::lround(c.motion_share * static_cast<double>(shots.size()))));
  for (const auto& [lot, i] : lots) {
    Random random(lot);
    const double length = c.motion_px * random.between(0.5, 1), a = random.between(0, std::numbers::pi);
    shots[i].smear_px = length * Vector2d(std::cos(a), std::sin(a));
  }
}

}  // namespace

std::vector<Shot> place_shots(const SceneOptions& o, const Vector3d& target) {
  std::vector<Shot> out;
  const std::vector<View> all = views(o.camera, o.layout.rings_placed < 0);
  for (std::size_t i = 0; i < all.size(); ++i) out.push_back(aim(o, all[i], target, static_cast<int>(i)));
  trouble(o, out);
  return out;
}

}  // namespace interstice::renderer
