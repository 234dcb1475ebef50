#include "sheets/form_strips.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <stdexcept>

#include "geometry/region.h"
#include "layout/cell_complex.h"

namespace interstice::sheets {
namespace {

using Eigen::Vector2d;

constexpr double kTurn = 2 * std::numbers::pi;
constexpr double kStripMargin_mm = 10, kStripFoot_mm = 12;

double wrapped_angle(double t) {
  while (t > std::numbers::pi) t -= kTurn;
  while (t <= -std::numbers::pi) t += kTurn;
  return t;
}

struct Strip {
  std::string name;
  geometry::Polygon edge;                   // flat, mm, y down on paper
  std::vector<geometry::Polygon> outlines;  // of the pieces, flat, cut to the strip
  std::vector<DrawnText> labels;
};

// The plan's outlines through `flat`, cut to `edge`. `near` says whether a piece can lie on the strip at all.
void add_outlines(const plan::Plan& plan, const std::function<Vector2d(const Vector2d&)>& flat,
                  const std::function<bool(const Vector2d&)>& near, Strip& strip) {
  const geometry::Polygon edge = geometry::signed_area(strip.edge) < 0
                                     ? geometry::Polygon(strip.edge.rbegin(), strip.edge.rend())
                                     : strip.edge;
  for (const plan::PlannedTile& tile : plan.tiles) {
    if (!std::any_of(tile.outline.begin(), tile.outline.end(), near)) continue;
    geometry::Polygon drawn;
    for (const Vector2d& uv : geometry::resampled(tile.outline, 0.7)) drawn.push_back(flat(uv));
    if (geometry::signed_area(drawn) < 0) std::reverse(drawn.begin(), drawn.end());
    for (const geometry::Polygon& part : geometry::intersection({drawn}, {edge})) {
      if (std::abs(geometry::signed_area(part)) < 1) continue;
      strip.outlines.push_back(part);
      DrawnText label;
      label.at = geometry::centroid(part), label.text = tile.label, label.anchor = Anchor::middle;
      label.height_mm = std::clamp(0.12 * std::sqrt(std::abs(geometry::signed_area(part))), 1.5, 3.5);
      if (std::abs(geometry::signed_area(part)) > 40) strip.labels.push_back(label);
    }
  }
}

// Strips side by side on sheets, first come first placed; a strip taller than the sheet is cut with its name
// on both parts and an overlap to join on.
class StripLayout {
 public:
  StripLayout(const plan::Plan& plan, const SheetSize& size, std::string what)
      : plan_(plan), size_(size), what_(std::move(what)) {}

  void add(const Strip& strip) {
    Vector2d low = strip.edge[0], high = low;
    for (const Vector2d& p : strip.edge) low = low.cwiseMin(p), high = high.cwiseMax(p);
    const double room_x = size_.width_mm - 2 * kStripMargin_mm,
                 room_y = size_.height_mm - 2 * kStripMargin_mm - 2 * kStripFoot_mm;
    const int parts_x =
        std::max(1, static_cast<int>(std::ceil((high.x() - low.x() - kOverlap) / (room_x - kOverlap))));
    const int parts_y =
        std::max(1, static_cast<int>(std::ceil((high.y() - low.y() - kOverlap) / (room_y - kOverlap))));
    for (int j = 0; j < parts_y; ++j) {
      for (int i = 0; i < parts_x; ++i) {
        const Vector2d from = low + Vector2d(i * (room_x - kOverlap), j * (room_y - kOverlap));
        const Vector2d to = from + Vector2d(room_x, room_y);
        const bool whole = parts_x * parts_y == 1;
        Strip part = whole ? strip : cut(strip, from, to.cwiseMin(high));
        if (part.edge.size() < 3) continue;
        if (!whole) part.name += ", part " + std::to_string(j * parts_x + i + 1);
        place(part);
      }
    }
  }

  std::vector<Drawing> finish() {
    for (std::size_t k = 0; k < sheets_.size(); ++k) {
      sheets_[k].write({kStripMargin_mm, kStripMargin_mm + 3},
                       fmt::format("{}: {}, sheet {} of {}", plan_.name, what_, k + 1, sheets_.size()), 2.4,
                       Anchor::left, 0, true);
      sheets_[k].write(
          {kStripMargin_mm, kStripMargin_mm + 7},
          "1:1, print at 100 %. Cut the strips out, wrap them on the form, prick or trace the lines through.",
          2.0);
      sheets_[k].check_line({kStripMargin_mm + 2, size_.height_mm - kStripMargin_mm - 5},
                            size_.width_mm >= 175 ? 150 : 50);
    }
    return std::move(sheets_);
  }

 private:
  static constexpr double kOverlap = 10;

  static Strip cut(const Strip& strip, const Vector2d& from, const Vector2d& to) {
    const geometry::Polygon box{from, {to.x(), from.y()}, to, {from.x(), to.y()}};
    const auto forward = [](geometry::Polygon p) {
      if (geometry::signed_area(p) < 0) std::reverse(p.begin(), p.end());
      return p;
    };
    Strip part;
    part.name = strip.name;
    part.edge = geometry::largest(geometry::intersection({forward(strip.edge)}, {box}));
    for (const geometry::Polygon& outline : strip.outlines) {
      for (geometry::Polygon& p : geometry::intersection({forward(outline)}, {box}))
        part.outlines.push_back(std::move(p));
    }
    for (const DrawnText& label : strip.labels) {
      if ((label.at - from).minCoeff() > 0 && (to - label.at).minCoeff() > 0) part.labels.push_back(label);
    }
    return part;
  }

  void place(const Strip& strip) {
    Vector2d low = strip.edge[0], high = low;
    for (const Vector2d& p : strip.edge) low = low.cwiseMin(p), high = high.cwiseMax(p);
    const Vector2d size = high - low;
    if (sheets_.empty() || x_ + size.x() > size_.width_mm - kStripMargin_mm + 1e-6) {
      if (sheets_.empty() || y_ + row_ + 8 + size.y() > size_.height_mm - kStripMargin_mm - kStripFoot_mm) {
        Drawing sheet;
        sheet.width_mm = size_.width_mm, sheet.height_mm = size_.height_mm;
        sheets_.push_back(sheet);
        y_ = kStripMargin_mm + kStripFoot_mm;
      } else {
        y_ += row_ + 8;
      }
      x_ = kStripMargin_mm, row_ = 0;
    }
    if (y_ + size.y() > size_.height_mm - kStripMargin_mm - kStripFoot_mm + 1e-6) {
      Drawing sheet;
      sheet.width_mm = size_.width_mm, sheet.height_mm = size_.height_mm;
      sheets_.push_back(sheet);
      y_ = kStripMargin_mm + kStripFoot_mm, x_ = kStripMargin_mm, row_ = 0;
    }
    const Vector2d by = Vector2d(x_, y_) - low;
    Drawing& sheet = sheets_.back();
    const auto moved = [&](geometry::Polygon p) {
      for (Vector2d& q : p) q += by;
      return p;
    };
    for (const geometry::Polygon& outline : strip.outlines) sheet.polygon(moved(outline), 0.3);
    DrawnPath edge;
    edge.points = moved(strip.edge), edge.closed = true, edge.width_mm = 0.12, edge.ink = kGrey;
    sheet.paths.push_back(edge);
    for (DrawnText label : strip.labels) {
      label.at += by;
      sheet.texts.push_back(label);
    }
    sheet.write({x_ + size.x() / 2, y_ + size.y() + 2.2}, strip.name, 1.8, Anchor::middle, 0, false, kGrey);
    x_ += size.x() + 3;
    row_ = std::max(row_, size.y());
  }

  const plan::Plan& plan_;
  SheetSize size_;
  std::string what_;
  std::vector<Drawing> sheets_;
  double x_ = 0, y_ = 0, row_ = 0;
};

std::string name_with_angle(const std::string& name, double deg) {
  return fmt::format("{}, middle {:.1f}°", name, deg);
}

// Heights between courses: where the share of meridian covered passes from one ring to the next.
std::vector<double> course_limits(const plan::Plan& plan) {
  int rings = 1;
  for (const plan::PlannedTile& tile : plan.tiles) rings = std::max(rings, tile.ring);
  std::vector<double> sum(static_cast<std::size_t>(rings) + 1, 0), count(sum);
  for (const plan::PlannedTile& tile : plan.tiles) {
    sum[static_cast<std::size_t>(tile.ring)] += geometry::centroid(tile.outline).norm();
    count[static_cast<std::size_t>(tile.ring)] += 1;
  }
  std::vector<double> limits{plan.profile.length()};  // from the rim to the pole
  double before = -1;
  for (std::size_t r = 1; r < sum.size(); ++r) {
    if (count[r] == 0) continue;
    const double middle = sum[r] / count[r];
    if (before >= 0) limits.push_back((before + middle) / 2);
    before = middle;
  }
  limits.push_back(0);
  std::sort(limits.rbegin(), limits.rend());
  return limits;
}

}  // namespace

double gore_width_mm(const geometry::Profile& form, double rho, int count) {
  return kTurn * form.at(rho).rz.x() / count;
}

double gore_edge_excess_mm(const geometry::Profile& form, int count) {
  const int n = 2000;
  const double length = form.length();
  double edge = 0;
  for (int i = 0; i < n; ++i) {
    const double a = length * i / n, b = length * (i + 1) / n;
    edge += std::hypot(b - a, (gore_width_mm(form, b, count) - gore_width_mm(form, a, count)) / 2);
  }
  return edge - length;
}

int gore_count(const geometry::Profile& form, double excess_mm) {
  int count = 8;
  while (count < 48 && gore_edge_excess_mm(form, count) > excess_mm) count += 4;
  return count;
}

std::vector<Drawing> draw_gores(const plan::Plan& plan, const SheetSize& sheet, int count) {
  const geometry::Profile& form = plan.profile;
  StripLayout layout(plan, sheet, "gores to wrap from the pole (top) to the rim");
  const double length = form.length();
  for (int k = 0; k < count; ++k) {
    const double theta0 = kTurn * k / count;
    Strip strip;
    strip.name = name_with_angle("gore " + std::to_string(k + 1), 360.0 * k / count);
    const int n = static_cast<int>(std::ceil(length));
    // Seen from outside with the pole up, theta grows to the right.
    for (int i = 0; i <= n; ++i)
      strip.edge.emplace_back(gore_width_mm(form, length * i / n, count) / 2, length * i / n);
    for (int i = n; i >= 0; --i)
      strip.edge.emplace_back(-gore_width_mm(form, length * i / n, count) / 2, length * i / n);
    const auto angle = [theta0](const Vector2d& uv) {
      return wrapped_angle(std::atan2(uv.y(), uv.x()) - theta0);
    };
    add_outlines(
        plan, [&](const Vector2d& uv) { return Vector2d(form.at(uv.norm()).rz.x() * angle(uv), uv.norm()); },
        [&](const Vector2d& uv) { return std::abs(angle(uv)) < 1.01 * std::numbers::pi / count; }, strip);
    layout.add(strip);
  }
  return layout.finish();
}

std::vector<Drawing> draw_bands(const plan::Plan& plan, const SheetSize& sheet) {
  const geometry::Profile& form = plan.profile;
  StripLayout layout(plan, sheet, "bands, one a course, pole side up");
  const std::vector<double> limits = course_limits(plan);
  const double room = sheet.width_mm - 2 * kStripMargin_mm;
  for (std::size_t b = 0; b + 1 < limits.size(); ++b) {
    const double low = limits[b + 1], high = limits[b];
    const double r_up = form.at(low).rz.x(), r_down = form.at(high).rz.x();
    // In the strip's own plane: apex at the origin for a cone; y down along the slant, x along the ring.
    const double slant = high - low, lean = (r_down - r_up) / slant;
    const bool straight = std::abs(lean) < 1e-3;
    const double base = straight ? 0 : r_up / lean;  // distance from the apex of the upper edge, signed
    const auto flat = [&](double rho, double turn) {
      if (straight) return Vector2d((r_up + r_down) / 2 * turn, rho - low);
      const double a = turn * lean, distance = base + (rho - low);
      return Vector2d(distance * std::sin(a), distance * std::cos(a) - base);
    };
    const double widest = std::max(r_up, r_down);
    const int parts = std::max(1, static_cast<int>(std::ceil(kTurn * widest / (0.95 * room))));
    for (int k = 0; k < parts; ++k) {
      const double middle = kTurn * k / parts, half = std::numbers::pi / parts;
      Strip strip;
      strip.name = name_with_angle("band " + std::to_string(b + 1) + " part " + std::to_string(k + 1),
                                   360.0 * k / parts);
      const int n = 60;
      for (int i = 0; i <= n; ++i) strip.edge.push_back(flat(high, -half + 2 * half * i / n));
      for (int i = n; i >= 0; --i) strip.edge.push_back(flat(low, -half + 2 * half * i / n));
      const auto angle = [middle](const Vector2d& uv) {
        return wrapped_angle(std::atan2(uv.y(), uv.x()) - middle);
      };
      add_outlines(
          plan, [&](const Vector2d& uv) { return flat(uv.norm(), angle(uv)); },
          [&](const Vector2d& uv) {
            return std::abs(angle(uv)) < half * 1.02 && uv.norm() > low - 1 && uv.norm() < high + 1;
          },
          strip);
      layout.add(strip);
    }
  }
  return layout.finish();
}

}  // namespace interstice::sheets
