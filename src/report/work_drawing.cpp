#include "report/work_drawing.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "report/markup.h"
#include "report/page_parts.h"
#include "seams/seam_ends.h"

namespace interstice::report {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Line = std::vector<Vector2d>;

constexpr double kMargin_mm = 9;   // round the piece: the gap and the beginnings of its neighbours
constexpr double kArrow_mm = 11;   // of a move, whatever its length, which is written
constexpr double kApart_mm = 0.8;  // points of a line
constexpr double kTextIn_mm = 5;   // figures stand this far inside the edge

std::size_t nearest_point(const std::vector<Vector3d>& outline, const Vector3d& p) {
  std::size_t best = 0;
  for (std::size_t i = 1; i < outline.size(); ++i) {
    if ((outline[i] - p).squaredNorm() < (outline[best] - p).squaredNorm()) best = i;
  }
  return best;
}

// Points of a closed outline from one to another, the shorter way.
std::vector<Vector3d> shorter_way(const std::vector<Vector3d>& outline, std::size_t first, std::size_t last) {
  const std::size_t n = outline.size();
  if ((last + n - first) % n > n / 2) std::swap(first, last);
  std::vector<Vector3d> out;
  for (std::size_t i = first;; i = (i + 1) % n) {
    out.push_back(outline[i]);
    if (i == last) return out;
  }
}

class Drawing {
 public:
  Drawing(const seams::FitDocument& fit, const seams::FitTile& tile) : fit_(fit), tile_(tile) {
    low_ = high_ = flat(tile.arris.front());
    for (const Vector3d& p : tile.arris) {
      low_ = low_.cwiseMin(flat(p)), high_ = high_.cwiseMax(flat(p));
      middle_ += flat(p) / static_cast<double>(tile.arris.size());
    }
    low_ -= Vector2d::Constant(kMargin_mm), high_ += Vector2d::Constant(kMargin_mm);
  }

  std::string of(const rework::WorkStep& step) const {
    std::string out = "<svg class=\"work-drawing\" viewBox=\"" + fixed(low_.x(), 1) + " " +
                      fixed(-high_.y(), 1) + " " + fixed(high_.x() - low_.x(), 1) + " " +
                      fixed(high_.y() - low_.y(), 1) +
                      "\" role=\"img\" aria-label=\"Drawing: " + escaped(rework::step_words(fit_, step)) +
                      "; seen from outside, foot upwards\">" + neighbours();
    out += path("piece", line_of(tile_.arris), true);
    out += text("name", middle_, in_drawing(tile_.label));
    for (std::size_t k = 0; k < step.size(); ++k) {
      const seams::Correction& c = fit_.corrections[step[k]];
      out += c.action == seams::Correction::Action::move ? move(c) : edge(c, k);
    }
    return out + "</svg>";
  }

 private:
  Vector2d flat(const Vector3d& p) const { return tile_.face.drop(p); }
  Line line_of(const std::vector<Vector3d>& points) const {
    Line out;
    for (const Vector3d& p : points) out.push_back(flat(p));
    return out;
  }
  bool shown(const Vector2d& p) const {
    return (p.array() > low_.array()).all() && (p.array() < high_.array()).all();
  }
  // What lies farther out is joined straight, out of sight.
  bool near_view(const Vector2d& p) const {
    const Vector2d far = Vector2d::Constant(30);
    return (p.array() > (low_ - far).array()).all() && (p.array() < (high_ + far).array()).all();
  }
  static std::string path(const char* kind, const Line& line, bool closed) {
    std::string d;
    const Vector2d* last = nullptr;
    for (const Vector2d& p : line) {
      if (last != nullptr && &p != &line.back() && (p - *last).norm() < kApart_mm) continue;
      last = &p;
      d += (d.empty() ? "M" : "L") + fixed(p.x(), 1) + " " + fixed(-p.y(), 1);
    }
    return "<path class=\"" + std::string(kind) + "\" d=\"" + d + (closed ? "Z" : "") + "\"/>";
  }
  static std::string text(const char* kind, const Vector2d& at, const std::string& what) {
    return "<text class=\"" + std::string(kind) + "\" x=\"" + fixed(at.x(), 1) + "\" y=\"" +
           fixed(1.5 - at.y(), 1) + "\">" + what + "</text>";
  }

  std::string neighbours() const {
    std::string out;
    for (const seams::FitTile& t : fit_.tiles) {
      if (&t == &tile_ || t.arris.empty() || t.face.normal.dot(tile_.face.normal) < 0.3) continue;
      Line inside, near;
      for (const Vector3d& p : t.arris) {
        const Vector2d q = flat(p);
        if (shown(q)) inside.push_back(q);
        if (near_view(q)) near.push_back(q);
      }
      if (inside.empty()) continue;
      Vector2d at = Vector2d::Zero();
      for (const Vector2d& p : inside) at += p / static_cast<double>(inside.size());
      at += 2.5 * (at - middle_).normalized();
      const Vector2d room(5, 2.5);
      out += path("beside", near, true) +
             text("beside-name", at.cwiseMax(low_ + room).cwiseMin(high_ - room), in_drawing(t.label));
    }
    return out;
  }

  Vector2d inward_of(const Vector2d& p, double deep) const {
    return p + deep * kTextIn_mm * (middle_ - p).normalized();
  }

  std::string edge(const seams::Correction& c, std::size_t stroke) const {
    const geometry::Profile form(fit_.form_profile);
    const std::vector<Vector3d> stretch = worked_stretch(form, tile_, c);
    const bool ease = c.action == seams::Correction::Action::ease;
    std::string out = beginning(c, stretch);
    out += path(ease ? "worked eased" : "worked", line_of(stretch), false);
    const std::string angle = fixed(c.angle_deg, c.angle_deg == std::round(c.angle_deg) ? 0 : 1) + "\xC2\xB0";
    return out +
           text("figure", inward_of(flat(stretch[stretch.size() / 2]), 1.0 + static_cast<double>(stroke)),
                ease ? angle : length_in_drawing(c.depth_mm, 1) + (c.angle_deg > 0 ? ", " + angle : ""));
  }

  // The end of the edge from which the stretch is measured, and the way from there to it.
  std::string beginning(const seams::Correction& c, const std::vector<Vector3d>& stretch) const {
    const std::size_t i = seam_of(fit_, {c.tile, c.facing});
    if (c.begin_at.empty() || i >= fit_.seams.size() || fit_.seams[i].samples.empty()) return "";
    const seams::FitSeam& seam = fit_.seams[i];
    const std::array<std::string, 2> ends = seams::seam_ends(fit_, seam);
    const auto own = [&](const seams::SeamSample& s) { return seam.tiles[0] == c.tile ? s.a : s.b; };
    const Vector3d at[2] = {own(seam.samples.front()), own(seam.samples.back())};
    const auto away = [&](const Vector3d& p) {
      return std::min((p - stretch.front()).norm(), (p - stretch.back()).norm());
    };
    std::size_t end = ends[0] == c.begin_at ? 0 : 1;
    if (ends[0] == ends[1]) end = away(at[0]) <= away(at[1]) ? 0 : 1;
    if (ends[end] != c.begin_at) return "";
    const std::size_t from = nearest_point(tile_.arris, at[end]),
                      first = nearest_point(tile_.arris, stretch.front()),
                      last = nearest_point(tile_.arris, stretch.back());
    const std::vector<Vector3d> ways[2] = {shorter_way(tile_.arris, from, first),
                                           shorter_way(tile_.arris, from, last)};
    const std::vector<Vector3d>& way = ways[0].size() <= ways[1].size() ? ways[0] : ways[1];
    const Vector2d mark = flat(tile_.arris[from]);
    std::string out = path("way", line_of(way), false) + "<circle class=\"end\" cx=\"" + fixed(mark.x(), 1) +
                      "\" cy=\"" + fixed(-mark.y(), 1) + "\" r=\"1.6\"/>";
    if (c.begin_mm >= 2 * kTextIn_mm)
      out += text("figure", inward_of(flat(way[way.size() / 2]), 1), length_in_drawing(c.begin_mm, 0));
    return out;
  }

  std::string move(const seams::Correction& c) const {
    std::string out;
    const Vector2d step(c.along_mm, c.towards_pole_mm);
    if (step.norm() > 0.05) {
      const Vector2d to = middle_ + Vector2d(0, -6) + kArrow_mm * step.normalized();
      out += arrow(Line{middle_ + Vector2d(0, -6), to});
      out += text("figure", to + 3.5 * step.normalized(), length_in_drawing(step.norm(), 1));
    }
    if (std::abs(c.turn_deg) > 0.05) {
      Line arc;
      const double radius = 7.5, sense = c.turn_deg > 0 ? 1 : -1;
      for (int k = -6; k <= 6; ++k) {
        const double a = std::numbers::pi * (0.5 + sense * k / 18.0);
        arc.push_back(middle_ + radius * Vector2d(std::cos(a), std::sin(a)));
      }
      out += arrow(arc) +
             text("figure", middle_ + Vector2d(0, radius + 3), fixed(std::abs(c.turn_deg), 1) + "\xC2\xB0");
    }
    return out;
  }

  static std::string arrow(const Line& line) {
    const Vector2d tip = line.back(), back = (line[line.size() - 2] - tip).normalized();
    const Vector2d side(-back.y(), back.x());
    return path("way strong", line, false) +
           path("head", {tip, tip + 3.0 * back + 1.4 * side, tip + 3.0 * back - 1.4 * side}, true);
  }

  const seams::FitDocument& fit_;
  const seams::FitTile& tile_;
  Vector2d low_{0, 0}, high_{0, 0}, middle_{0, 0};
};

}  // namespace

std::vector<Vector3d> worked_stretch(const geometry::Profile& form, const seams::FitTile& tile,
                                     const seams::Correction& correction) {
  const auto nearest = [&](const Vector2d& uv) {
    std::size_t best = 0;
    double distance = 1e18;
    for (std::size_t i = 0; i < tile.arris.size(); ++i) {
      const double d = (form.locate(tile.arris[i]).uv - uv).squaredNorm();
      if (d < distance) distance = d, best = i;
    }
    return best;
  };
  return shorter_way(tile.arris, nearest(correction.from), nearest(correction.to));
}

std::string work_drawing(const seams::FitDocument& fit, const rework::WorkStep& step) {
  const seams::FitTile* tile = tile_of(fit, fit.corrections[step.front()].tile);
  if (tile == nullptr || tile->arris.size() < 3) return "";
  return Drawing(fit, *tile).of(step);
}

}  // namespace interstice::report
