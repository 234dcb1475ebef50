#include "renderer/shade.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "core/errors.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector3f;

namespace {

constexpr float kPencilPixel = 0.25f;  // mm
constexpr float kLetterPixel = 0.1f;   // mm
constexpr double kLetterHigh = 6;      // mm at the most: so that it is read at arm's length

std::uint32_t lattice(std::int32_t x, std::int32_t y, std::int32_t z, std::uint32_t seed) {
  std::uint32_t h = seed ^ (static_cast<std::uint32_t>(x) * 0x8da6b343u) ^
                    (static_cast<std::uint32_t>(y) * 0xd8163841u) ^
                    (static_cast<std::uint32_t>(z) * 0xcb1ab31fu);
  h ^= h >> 15;
  h *= 0x2c1b3c6du;
  h ^= h >> 12;
  h *= 0x297a2d39u;
  return h ^ (h >> 15);
}

float lattice_value(std::int32_t x, std::int32_t y, std::int32_t z, std::uint32_t seed) {
  return static_cast<float>(lattice(x, y, z, seed)) * (2.0f / 4294967296.0f) - 1.0f;
}

struct WoodKind {
  Vector3f early, late;
  float ring_mm, contrast, fibre;
};

const std::map<std::string, WoodKind>& wood_kinds() {
  static const std::map<std::string, WoodKind> kinds = {
      {"maple", {{0.56f, 0.43f, 0.28f}, {0.42f, 0.29f, 0.17f}, 3.4f, 0.7f, 0.06f}},
      {"oak", {{0.38f, 0.27f, 0.15f}, {0.22f, 0.14f, 0.07f}, 2.4f, 0.9f, 0.12f}},
      {"ash", {{0.36f, 0.29f, 0.20f}, {0.24f, 0.18f, 0.12f}, 2.8f, 0.8f, 0.10f}},
      {"cherry", {{0.34f, 0.15f, 0.085f}, {0.21f, 0.085f, 0.05f}, 3.0f, 0.7f, 0.07f}},
      {"walnut", {{0.115f, 0.070f, 0.043f}, {0.060f, 0.036f, 0.024f}, 3.2f, 0.8f, 0.12f}},
      {"padauk", {{0.26f, 0.055f, 0.032f}, {0.15f, 0.032f, 0.020f}, 3.6f, 0.7f, 0.12f}},
      {"blackwood", {{0.030f, 0.027f, 0.026f}, {0.017f, 0.016f, 0.016f}, 2.6f, 0.6f, 0.12f}}};
  return kinds;
}

}  // namespace

float smooth_noise(const Vector3f& p, std::uint32_t seed) {
  const float fx = std::floor(p.x()), fy = std::floor(p.y()), fz = std::floor(p.z());
  const auto ix = static_cast<std::int32_t>(fx), iy = static_cast<std::int32_t>(fy),
             iz = static_cast<std::int32_t>(fz);
  const auto ease = [](float t) { return t * t * (3 - 2 * t); };
  const float tx = ease(p.x() - fx), ty = ease(p.y() - fy), tz = ease(p.z() - fz);
  const auto line = [&](std::int32_t dy, std::int32_t dz) {
    const float a = lattice_value(ix, iy + dy, iz + dz, seed),
                b = lattice_value(ix + 1, iy + dy, iz + dz, seed);
    return a + tx * (b - a);
  };
  const float low = line(0, 0) + ty * (line(1, 0) - line(0, 0));
  const float high = line(0, 1) + ty * (line(1, 1) - line(0, 1));
  return low + tz * (high - low);
}

ResinPaint resin_paint(const std::string& name) {
  static const std::map<std::string, ResinPaint> all = {
      {"", {}},
      {"black", {{0.011f, 0.010f, 0.010f}, Vector3f::Zero(), 0, 0, false}},
      {"blue", {{0.045f, 0.058f, 0.105f}, Vector3f::Zero(), 0, 0, false}},
      {"white", {{0.62f, 0.63f, 0.64f}, Vector3f::Zero(), 0, 0, false}},
      {"metallic", {{0.30f, 0.27f, 0.22f}, Vector3f::Zero(), 0, 0.75f, false}},
      {"amber", {{0.30f, 0.14f, 0.035f}, {0.03f, 0.09f, 0.30f}, 0.06f, 0, true}}};
  const auto it = all.find(name);
  if (it == all.end())
    throw core::InputError("scene option resin.colour: there is no \"" + core::one_line(name) +
                           "\"; there are black, blue, white, metallic and amber");
  return it->second;
}

Paint::Paint(const Scene& scene)
    : form_grey_(static_cast<float>(scene.options.look.form_grey)),
      resin_(resin_paint(scene.options.resin.colour).body),
      seed_(static_cast<std::uint32_t>(key(scene.options.seed, 61))),
      form_(&scene.form) {
  for (std::size_t i = 0; i < scene.pieces.size(); ++i) woods_.push_back(cut_wood(scene, i));
  for (const CardPlace& c : scene.cards) cards_.push_back({CardPrint(c.card), c});
  if (scene.options.look.pencil_lines && scene.options.layout.rings_placed >= 0) draw_pencil(scene);
}

Paint::Wood Paint::cut_wood(const Scene& scene, std::size_t piece) {
  Random random(key(scene.options.seed, 67, piece));
  const std::vector<std::string>& names = scene.options.look.woods;
  if (names.empty()) throw core::InputError("scene option look.woods is empty; name at least one wood");
  const std::string& name =
      names[static_cast<std::size_t>(random.unit() * static_cast<double>(names.size()))];
  const auto kind = wood_kinds().find(name);
  if (kind == wood_kinds().end())
    throw core::InputError("scene option look.woods: no wood is called \"" + core::one_line(name) + "\"");
  Wood w{};
  const float tone = static_cast<float>(random.between(0.85, 1.15));
  w.early = tone * kind->second.early;
  w.late = tone * kind->second.late;
  w.ring_mm = kind->second.ring_mm * static_cast<float>(random.between(0.8, 1.3));
  w.contrast = kind->second.contrast;
  w.fibre = kind->second.fibre;
  w.seed = static_cast<std::uint32_t>(random.bits());
  // The tree's axis lies nearly along the board, some way off it: lines on the face, arcs on the end grain.
  const double turn = random.between(0, 6.2831853), dip = random.between(-0.25, 0.25);
  w.along = Vector3f(static_cast<float>(std::cos(turn)), static_cast<float>(std::sin(turn)),
                     static_cast<float>(dip))
                .normalized();
  const Vector3f sideways = Vector3f::UnitZ().cross(w.along).normalized();
  w.heart = static_cast<float>(random.between(-110, 110)) * sideways -
            static_cast<float>(random.between(25, 90)) * Vector3f::UnitZ();
  const Frame& frame = scene.pieces[piece].frame;
  w.axes = frame.axes.transpose().cast<float>();
  w.origin = frame.origin.cast<float>();
  if (scene.options.look.labels) write_label(scene, piece, w);
  return w;
}

void Paint::write_label(const Scene& scene, std::size_t piece, Wood& w) {
  const BuiltPiece& p = scene.pieces[piece];
  if (p.outline.empty()) return;
  Random random(key(scene.options.seed, 139, piece));
  // OpenCV's plain letters are 21 pixels high at scale 1.
  const double high = std::min(kLetterHigh, 0.2 * std::sqrt(signed_area(p.outline)));
  const double scale = high / kLetterPixel / 21;
  int below = 0;
  const cv::Size size = cv::getTextSize(p.label, cv::FONT_HERSHEY_SIMPLEX, scale, 5, &below);
  w.label = cv::Mat::zeros(size.height + below + 12, size.width + 12, CV_8U);
  cv::putText(w.label, p.label, {6, size.height + 6}, cv::FONT_HERSHEY_SIMPLEX, scale, cv::Scalar(255), 5,
              cv::LINE_AA);
  const double turn = random.between(0, 6.2831853), off = random.between(0, 4),
               way = random.between(0, 6.2831853);
  const Eigen::Vector2d x(std::cos(turn), std::sin(turn)), y(-x.y(), x.x());
  const Eigen::Vector2d middle =
      area_centroid(p.outline) + off * Eigen::Vector2d(std::cos(way), std::sin(way));
  w.label_x = x.cast<float>();
  w.label_start = (middle - 0.5 * kLetterPixel * (w.label.cols * x - w.label.rows * y)).cast<float>();
}

float Paint::label_at(const Wood& w, const Vector3f& position) {
  if (w.label.empty()) return 1;
  const Eigen::Vector2f p = (w.axes * (position - w.origin)).head<2>() - w.label_start;
  const auto col = static_cast<int>(std::floor(p.dot(w.label_x) / kLetterPixel));
  const auto row =
      static_cast<int>(std::floor((p.x() * w.label_x.y() - p.y() * w.label_x.x()) / kLetterPixel));
  if (col < 0 || row < 0 || col >= w.label.cols || row >= w.label.rows) return 1;
  return 1 - 0.6f * static_cast<float>(w.label.at<std::uint8_t>(row, col)) / 255;
}

Vector3f Paint::wood_at(const Wood& w, const Vector3f& position) const {
  const Vector3f p = w.axes * (position - w.origin);
  const float along = p.dot(w.along);
  const Vector3f across = p - along * w.along;
  const float bend = 1.5f * smooth_noise(p * 0.022f, w.seed) + 0.22f * smooth_noise(p * 0.11f, w.seed + 1);
  const float rings = (across - w.heart).norm() / w.ring_mm + bend;
  const float t = rings - std::floor(rings);
  // Slowly darker towards the end of the year's growth, then a sharp return.
  const float late = t < 0.9f ? t * t * t * 1.3717f : (1 - t) * 10;
  const Vector3f stretched = across * 1.7f + w.along * (0.22f * along);
  const float fibre = smooth_noise(stretched, w.seed + 2);
  const float shade = 1 + w.fibre * fibre + 0.05f * smooth_noise(p * 0.5f, w.seed + 3);
  return shade * (w.early + w.contrast * late * (w.late - w.early));
}

void Paint::draw_pencil(const Scene& scene) {
  const double reach = scene.form.length_mm() + 2;
  const int size = static_cast<int>(2 * reach / kPencilPixel);
  pencil_ = cv::Mat::zeros(size, size, CV_8U);
  for (std::size_t i = 0; i < scene.layout.pieces.size(); ++i) {
    const PlannedPiece& piece = scene.layout.pieces[i];
    std::vector<cv::Point> line;
    const std::uint64_t seed = key(scene.options.seed, 149, i);
    for (const Eigen::Vector2d& p :
         with_wavy_edge(piece.footprint, scene.options.look.pencil_jitter_mm, seed)) {
      line.emplace_back(static_cast<int>(std::lround(16 * (p.x() + reach) / kPencilPixel)),
                        static_cast<int>(std::lround(16 * (p.y() + reach) / kPencilPixel)));
    }
    cv::polylines(pencil_, line, true, cv::Scalar(255), 2, cv::LINE_AA, 4);
  }
}

Vector3f Paint::form_at(const Vector3f& p) const {
  const float mottle = 0.06f * smooth_noise(p * 0.12f, seed_) + 0.05f * smooth_noise(p * 0.9f, seed_ + 1) +
                       0.04f * smooth_noise(p * 2.1f, seed_ + 2);
  float grey = form_grey_ * (1 + mottle);
  if (!pencil_.empty()) {
    const Eigen::Vector2d uv = form_->locate_near(p.cast<double>());
    const double reach = form_->length_mm() + 2;
    const int col = static_cast<int>(std::lround((uv.x() + reach) / kPencilPixel));
    const int row = static_cast<int>(std::lround((uv.y() + reach) / kPencilPixel));
    if (col >= 0 && row >= 0 && col < pencil_.cols && row < pencil_.rows) {
      grey *= 1 - 0.75f * static_cast<float>(pencil_.at<std::uint8_t>(row, col)) / 255;
    }
  }
  return grey * Vector3f(0.98f, 1.0f, 1.03f);
}

Paint::Touch Paint::at(const Mesh& mesh, const Vector3f& position, Part part) const {
  const Vector3f p = position - mesh.shift;
  switch (mesh.surface) {
    case Surface::piece: {
      const Wood& wood = woods_[static_cast<std::size_t>(mesh.index)];
      const float left = part == Part::face ? label_at(wood, p) : 1.0f;
      return {left * wood_at(wood, p), left < 0.7f};
    }
    case Surface::form:
      return {form_at(p), false};
    case Surface::glue:
      return {Vector3f(0.42f, 0.34f, 0.20f), false};
    case Surface::resin:
      return {resin_, false};
    case Surface::card: {
      const Card& card = cards_[static_cast<std::size_t>(mesh.index)];
      const Eigen::Vector2d q = card.place.flat(p.cast<double>()) / card.place.print_scale;
      const bool ink = card.print.black(q.x(), q.y());
      const float tooth = 1 + 0.015f * smooth_noise(p * 1.3f, seed_ + 5);
      return {ink ? Vector3f(0.040f, 0.040f, 0.043f) * tooth : Vector3f(0.66f, 0.66f, 0.67f) * tooth, ink};
    }
    case Surface::bench:
      break;
  }
  const float grain = 0.10f * smooth_noise(Vector3f(p.x() * 0.55f, p.y() * 0.22f, 0), seed_ + 6) +
                      0.08f * smooth_noise(Vector3f(p.x() * 1.3f, p.y() * 0.6f, 3), seed_ + 7) +
                      0.05f * smooth_noise(p * 0.05f, seed_ + 8);
  return {(1 + grain) * Vector3f(0.27f, 0.235f, 0.20f), false};
}

Vector3f Paint::mean(const Mesh& mesh) const {
  switch (mesh.surface) {
    case Surface::piece: {
      const Wood& w = woods_[static_cast<std::size_t>(mesh.index)];
      return w.early + 0.3f * (w.late - w.early);
    }
    case Surface::form:
      return Vector3f::Constant(form_grey_);
    case Surface::card:
      return Vector3f::Constant(0.4f);
    case Surface::glue:
      return {0.42f, 0.34f, 0.20f};
    case Surface::resin:
      return resin_;
    case Surface::bench:
      break;
  }
  return {0.27f, 0.235f, 0.20f};
}

}  // namespace interstice::renderer
