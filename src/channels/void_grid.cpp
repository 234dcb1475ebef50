#include "channels/void_grid.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include "core/parallel.h"

namespace interstice::channels {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kFormStep_mm = 0.25;
constexpr double kMargin_mm = 2.0;
constexpr std::size_t kDirections = 32;
const std::array<Vector2d, kDirections> kCompass = [] {
  std::array<Vector2d, kDirections> out;
  for (std::size_t a = 0; a < kDirections; ++a) {
    const double angle = 2 * std::numbers::pi * static_cast<double>(a) / kDirections;
    out[a] = {std::cos(angle), std::sin(angle)};
  }
  return out;
}();
constexpr double kAslant = 1.5;    // the nearest arris lies within 48 degrees of the way to the pole
constexpr double kSteepest = 0.6;  // no wall leans further in than 30 degrees

}  // namespace

VoidGrid::VoidGrid(const ShellSolids& shell, const VoidGridOptions& options)
    : step_(options.step_mm),
      reach_(options.reach_mm),
      lean_(std::max(0.0, options.wall_lean)),
      half_(0),
      thickness_(shell.thickness_mm),
      backs_fitted_(options.backs_fitted),
      rim_rho_(shell.form.length()) {
  std::vector<std::size_t> index;
  double rho_max = 0, height_max = 1;
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    if (!shell.pieces[i]) continue;
    index.push_back(i);
    const double above = i < shell.face_above_mm.size() ? shell.face_above_mm[i] : 0.0;
    for (const Vector3d& p : shell.pieces[i]->arris) {
      const geometry::MapPoint at = shell.form.locate(p);
      rho_max = std::max(rho_max, at.uv.norm());
      height_max = std::max(height_max, at.height + above);
    }
  }
  half_ = std::ceil((rho_max + kMargin_mm) / step_) * step_;
  n_ = static_cast<std::size_t>(std::lround(2 * half_ / step_)) + 1;
  layers_ = static_cast<std::size_t>(std::ceil(height_max / kLayer_mm)) + 1;
  tabulate_form(shell.form, half_ * std::numbers::sqrt2 + reach_);
  std::vector<std::optional<PieceField>> made(index.size());
  core::parallel_for(index.size(), options.threads, [&](std::size_t k) {
    const std::size_t i = index[k];
    made[k].emplace(*shell.pieces[i], shell.form,
                    i < shell.face_above_mm.size() ? shell.face_above_mm[i] : 0.0);
  });
  std::vector<PieceField> fields;
  for (auto& field : made) fields.push_back(std::move(*field));
  columns_.resize(n_ * n_);
  fraction_.assign(n_ * n_ * layers_, 0);
  state_.assign(n_ * n_ * layers_, kOutside);
  under_mm3_.assign(n_, 0);
  rim_mm3_.assign(n_, 0);
  core::parallel_for(n_, options.threads, [&](std::size_t j) { fill_row(fields, index, j); });
  mark_outside(options.threads);
}

Vector2d VoidGrid::map_at(std::size_t i, std::size_t j) const {
  return {static_cast<double>(i) * step_ - half_, static_cast<double>(j) * step_ - half_};
}

void VoidGrid::tabulate_form(const geometry::Profile& form, double rho_max) {
  const auto n = static_cast<std::size_t>(std::ceil(rho_max / kFormStep_mm)) + 2;
  for (std::size_t i = 0; i < n; ++i) {
    const double rho = static_cast<double>(i) * kFormStep_mm, d = kFormStep_mm;
    const geometry::MeridianPoint m = form.at(rho), before = form.at(std::max(0.0, rho - d)),
                                  after = form.at(rho + d);
    const double turn = before.tangent.x() * after.tangent.y() - before.tangent.y() * after.tangent.x();
    form_.push_back({m.rz, m.normal, -turn / (rho + d - std::max(0.0, rho - d))});
  }
}

VoidGrid::Meridian VoidGrid::meridian(double rho) const {
  const double x = std::min(rho / kFormStep_mm, static_cast<double>(form_.size() - 2));
  const auto i = static_cast<std::size_t>(x);
  const double f = x - static_cast<double>(i);
  const Meridian &a = form_[i], &b = form_[i + 1];
  return {(1 - f) * a.rz + f * b.rz, (1 - f) * a.normal + f * b.normal,
          (1 - f) * a.curvature + f * b.curvature};
}

void VoidGrid::base(const Vector2d& uv, Vector3d& point, Vector3d& normal) const {
  const double rho = uv.norm();
  const Meridian m = meridian(rho);
  const Vector2d e = rho > 1e-9 ? Vector2d(uv / rho) : Vector2d(1, 0);
  point = {m.rz.x() * e.x(), m.rz.x() * e.y(), m.rz.y()};
  normal = {m.normal.x() * e.x(), m.normal.x() * e.y(), m.normal.y()};
}

Vector2d VoidGrid::scale(double rho, double height) const {
  const Meridian m = meridian(rho);
  const double along_meridian = 1 + height * m.curvature;
  const double along_ring = rho > kFormStep_mm ? (m.rz.x() + height * m.normal.x()) / rho : along_meridian;
  return {along_ring, along_meridian};
}

double VoidGrid::box_volume_mm3(std::size_t i, std::size_t j, std::size_t k) const {
  const Vector2d s = scale(map_at(i, j).norm(), (static_cast<double>(k) + 0.5) * kLayer_mm);
  return s.x() * s.y() * step_ * step_ * kLayer_mm;
}

Vector3d VoidGrid::box_centre(std::size_t i, std::size_t j, std::size_t k) const {
  Vector3d point, normal;
  base(map_at(i, j), point, normal);
  return point + (static_cast<double>(k) + 0.5) * kLayer_mm * normal;
}

double VoidGrid::under_volume_mm3() const {
  return std::accumulate(under_mm3_.begin(), under_mm3_.end(), 0.0);
}

double VoidGrid::rim_volume_mm3() const {
  return std::accumulate(rim_mm3_.begin(), rim_mm3_.end(), 0.0);
}

double VoidGrid::seam_volume_mm3() const {
  double sum = 0;
  for (std::size_t j = 0; j < n_; ++j) {
    for (std::size_t i = 0; i < n_; ++i) {
      for (std::size_t k = 0; k < layers_; ++k) {
        if (fraction_[box(i, j, k)] != 0) sum += void_fraction(i, j, k) * box_volume_mm3(i, j, k);
      }
    }
  }
  return sum;
}

void VoidGrid::fill_row(const std::vector<PieceField>& fields, const std::vector<std::size_t>& index,
                        std::size_t j) {
  std::vector<std::size_t> near;
  for (std::size_t i = 0; i < n_; ++i) {
    const Vector2d uv = map_at(i, j);
    near.clear();
    for (std::size_t f = 0; f < fields.size(); ++f) {
      if ((uv.array() >= fields[f].map_low().array()).all() &&
          (uv.array() <= fields[f].map_high().array()).all()) {
        near.push_back(f);
      }
    }
    if (!near.empty()) fill_column(fields, index, near, i, j);
  }
}

// Pieces near a column, nearest first, with the height of their face (under it) or of their nearest arris.
std::size_t VoidGrid::pieces_near(const std::vector<PieceField>& fields, const std::vector<std::size_t>& near,
                                  const Vector3d& base_point, const Vector3d& normal,
                                  std::array<Near, 8>& found) const {
  std::size_t count = 0;
  for (const std::size_t f : near) {
    const geometry::PlaneFrame& face = fields[f].face();
    const double lean = normal.dot(face.normal);
    if (lean < 0.2) continue;  // the other side of the bowl
    const double h = -face.height(base_point) / lean;
    const PieceField::Reading r = fields[f].read(face.drop(base_point + h * normal));
    if (r.outside_mm >= PieceField::kReach_mm || count == found.size()) continue;
    const double above = fields[f].face_above_mm() / lean;  // up to the outer face
    found[count++] = {f, r.outside_mm, (r.outside_mm <= 0 ? h : r.arris_height_mm) + above,
                      h + above - thickness_ / lean};
  }
  std::sort(found.begin(), found.begin() + static_cast<std::ptrdiff_t>(count),
            [](const Near& a, const Near& b) {
              return a.outside != b.outside ? a.outside < b.outside : a.field < b.field;
            });
  return count;
}

void VoidGrid::fill_column(const std::vector<PieceField>& fields, const std::vector<std::size_t>& index,
                           const std::vector<std::size_t>& near, std::size_t i, std::size_t j) {
  Vector3d base_point, normal;
  base(map_at(i, j), base_point, normal);
  Column& column = columns_[j * n_ + i];
  std::array<Near, 8> found;
  const std::size_t count = pieces_near(fields, near, base_point, normal, found);
  if (count == 0) return;
  const auto piece = [&](std::size_t c) {
    return c < count ? static_cast<std::uint16_t>(index[found[c].field]) : kNone;
  };
  column.near_piece = true;
  column.first = piece(0), column.second = piece(1), column.third = piece(2);
  column.d1 = static_cast<float>(found[0].outside);
  if (count > 1) column.d2 = static_cast<float>(found[1].outside);
  if (count > 2) column.d3 = static_cast<float>(found[2].outside);
  column.in_arris = found[0].outside <= 0;
  double tape = found[0].height;
  if (!column.in_arris) {
    double sum = 0, weights = 0;
    for (std::size_t c = 0; c < count; ++c) {
      const double w = 1 / std::max(1e-6, found[c].outside);
      sum += w * found[c].height;
      weights += w;
    }
    tape = sum / weights;
  }
  column.tape_mm = static_cast<float>(tape);
  fill_boxes(fields, found, count, base_point, normal, i, j);
}

void VoidGrid::fill_boxes(const std::vector<PieceField>& fields, const std::array<Near, 8>& found,
                          std::size_t count, const Vector3d& base_point, const Vector3d& normal,
                          std::size_t i, std::size_t j) {
  const Column& column = columns_[j * n_ + i];
  const Vector2d s = scale(map_at(i, j).norm(), 0);
  const double cell_mm = step_ * std::sqrt(s.x() * s.y());
  // Far inside a piece every box is wood, down to its underside.
  const bool deep = found[0].outside < -(cell_mm + thickness_ * kSteepest);
  for (std::size_t k = 0; k < layers_; ++k) {
    const double low = static_cast<double>(k) * kLayer_mm;
    if (deep) {
      state_[box(i, j, k)] = kWood;
      const double under = backs_fitted_ ? 0 : std::clamp((found[0].underside - low) / kLayer_mm, 0.0, 1.0);
      if (under > 0) under_mm3_[j] += under * box_volume_mm3(i, j, k);
      continue;
    }
    const double top = std::clamp((static_cast<double>(column.tape_mm) - low) / kLayer_mm, 0.0, 1.0);
    if (top <= 0) {
      state_[box(i, j, k)] = column.in_arris ? kWood : kAbove;
      continue;
    }
    const double middle = low + 0.5 * top * kLayer_mm;
    const Vector3d p = base_point + middle * normal;
    double covered = 0, under = 0;  // by pieces and what lies below them; of that, below their undersides
    for (std::size_t c = 0; c < count; ++c) {
      const PieceField& field = fields[found[c].field];
      const PieceField::Reading r = field.read(field.face().drop(p));
      const double below = std::max(0.0, -field.face().height(p));
      const double depth = backs_fitted_ ? below : std::min(below, thickness_);
      const double part = std::clamp(0.5 - (r.outside_mm + depth * r.slope) / cell_mm, 0.0, 1.0);
      covered += part;
      if (!backs_fitted_) under += part * std::clamp((found[c].underside - low) / kLayer_mm, 0.0, top);
    }
    const double open = std::clamp(1 - covered, 0.0, 1.0);
    fraction_[box(i, j, k)] = static_cast<std::uint8_t>(std::lround(255 * open * top));
    state_[box(i, j, k)] = open < 0.5 ? kWood : kVoid;
    if (under > 0) under_mm3_[j] += under / std::max(1.0, covered) * box_volume_mm3(i, j, k);
  }
}

// Seen from the box along the form, is there wood within reach on all sides, no free side of half a turn?
// Eight directions settle most places (three misses in a row leave less than half a turn); elsewhere those between
// more misses than that are looked at closely, and the others count as wood: no free half turn reaches them.
bool VoidGrid::enclosed(std::size_t i, std::size_t j, std::size_t k) const {
  const Vector2d uv = map_at(i, j);
  const double rho = uv.norm();
  const Vector2d s = scale(rho, (static_cast<double>(k) + 0.5) * kLayer_mm);
  const Vector2d radial = rho > 1e-9 ? Vector2d(uv / rho) : Vector2d(1, 0);
  const Vector2d ring(-radial.y(), radial.x());
  const double depth = columns_[j * n_ + i].tape_mm - (static_cast<double>(k) + 0.5) * kLayer_mm;
  const double reach =
      reach_ + 2 * lean_ * std::clamp(depth, 0.0, thickness_) + 1;  // built bevels differ a little
  const auto steps = static_cast<int>(reach / step_);
  const auto n = static_cast<int>(n_);
  const std::uint8_t* layer = &state_[box(0, 0, k)];
  std::array<bool, kDirections> hit{};
  const auto look = [&](std::size_t a) {
    const Vector2d d = (kCompass[a].x() / s.x()) * ring + (kCompass[a].y() / s.y()) * radial;
    double x = static_cast<double>(i) + 0.5, y = static_cast<double>(j) + 0.5;
    for (int m = 1; m <= steps; ++m) {
      x += d.x(), y += d.y();
      const int xi = static_cast<int>(x), yi = static_cast<int>(y);
      if (xi < 0 || yi < 0 || xi >= n || yi >= n) return false;
      if (layer[yi * n + xi] == kWood) return true;
    }
    return false;
  };
  const auto longest_miss = [&](std::size_t stride) {
    std::size_t run = 0, longest = 0;
    for (std::size_t a = 0; a < 2 * kDirections; a += stride) {
      run = hit[a % kDirections] ? 0 : run + 1;
      longest = std::max(longest, run);
    }
    return longest;
  };
  constexpr std::size_t kCoarse = kDirections / 8, kHalfTurn = 4;
  for (std::size_t a = 0; a < kDirections; a += kCoarse) hit[a] = look(a);
  if (longest_miss(kCoarse) < kHalfTurn) return true;
  const auto misses_from = [&](std::size_t a) {  // of the eight, this one and those after it
    std::size_t run = 0;
    while (run < 8 && !hit[(a + run * kCoarse) % kDirections]) ++run;
    return run;
  };
  std::array<bool, kDirections> close{};
  for (std::size_t a = 0; a < kDirections; a += kCoarse) {
    if (misses_from(a) < kHalfTurn) continue;
    for (std::size_t d = 0; d < (kHalfTurn + 1) * kCoarse; ++d)
      close[(a + kDirections - kCoarse + d) % kDirections] = true;
  }
  for (std::size_t a = 0; a < kDirections; ++a) {
    if (a % kCoarse != 0) hit[a] = !close[a] || look(a);
  }
  return longest_miss(1) < kDirections / 2;
}

void VoidGrid::mark_outside(int threads) {
  std::vector<std::uint8_t> outside(state_.size(), 0);
  core::parallel_for(n_, threads, [&](std::size_t j) {
    for (std::size_t i = 0; i < n_; ++i) {
      if (!columns_[j * n_ + i].near_piece) continue;
      for (std::size_t k = 0; k < layers_; ++k) {
        const std::size_t b = box(i, j, k);
        if (fraction_[b] != 0 && !enclosed(i, j, k)) outside[b] = 1;
      }
    }
  });
  for (std::size_t b = 0; b < state_.size(); ++b) {
    if (outside[b] != 0 && state_[b] == kVoid) state_[b] = kOutside;
  }
  measure_rim(outside, threads);
  for (std::size_t b = 0; b < state_.size(); ++b) {
    if (outside[b] != 0) fraction_[b] = 0;
  }
}

bool VoidGrid::meets(State state, std::size_t i, std::size_t j, std::size_t k, double towards_rim_mm) const {
  const Vector2d uv = map_at(i, j);
  const double rho = uv.norm();
  if (rho < step_) return false;
  const Vector2d way = (towards_rim_mm < 0 ? -1 : 1) * uv / rho;
  const auto steps = static_cast<int>(std::abs(towards_rim_mm) / step_);
  for (int m = 1; m <= steps; ++m) {
    const double x = static_cast<double>(i) + 0.5 + m * way.x(),
                 y = static_cast<double>(j) + 0.5 + m * way.y();
    if (x < 0 || y < 0 || x >= static_cast<double>(n_) || y >= static_cast<double>(n_)) return false;
    if (state_[box(static_cast<std::size_t>(x), static_cast<std::size_t>(y), k)] == state) return true;
  }
  return false;
}

// Of a box that nothing encloses, what lies between the lowest ring and tape straight from its arris to the rim.
double VoidGrid::rim_fraction(std::size_t i, std::size_t j, std::size_t k) const {
  const Column& column = columns_[j * n_ + i];
  const double to_rim = rim_rho_ - map_at(i, j).norm(),
               to_arris = std::max(0.0, static_cast<double>(column.d1));
  const double depth = static_cast<double>(column.tape_mm) - (static_cast<double>(k) + 0.5) * kLayer_mm;
  const double recess = lean_ * std::clamp(depth, 0.0, thickness_) + 1;  // built bevels differ a little
  if (to_rim < 0 || to_rim + to_arris > reach_ + recess) return 0;
  const double tape = static_cast<double>(column.tape_mm), low = static_cast<double>(k) * kLayer_mm;
  const double under_tape = std::clamp((tape - low) / kLayer_mm, 0.0, 1.0);
  const double line = to_arris + to_rim > 0 ? tape * to_rim / (to_arris + to_rim) : 0;
  const double under_line = std::clamp((line - low) / kLayer_mm, 0.0, 1.0);
  if (under_line <= 0 || under_tape <= 0) return 0;
  // The lowest ring, and the seams in it, lie towards the pole; towards the rim there is nothing.
  const double far = kAslant * to_arris + recess;
  if (meets(kWood, i, j, k, to_rim) || !(meets(kWood, i, j, k, -far) || meets(kVoid, i, j, k, -far)))
    return 0;
  return void_fraction(i, j, k) * under_line / under_tape;
}

void VoidGrid::measure_rim(const std::vector<std::uint8_t>& open, int threads) {
  core::parallel_for(n_, threads, [&](std::size_t j) {
    for (std::size_t i = 0; i < n_; ++i) {
      if (!columns_[j * n_ + i].near_piece) continue;
      for (std::size_t k = 0; k < layers_; ++k) {
        if (open[box(i, j, k)] != 0) rim_mm3_[j] += rim_fraction(i, j, k) * box_volume_mm3(i, j, k);
      }
    }
  });
}

}  // namespace interstice::channels
