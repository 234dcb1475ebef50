#include "layout/layout_shape.h"
#include "geometry/form_surface.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <numbers>

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

double square(double x) {
  return x * x;
}

// Of a side of a face, between its rounded corners: a few steps of an outline, so that the mouth is set by
// the side and not by the corners.
constexpr double kStraight_mm = 2.5;
constexpr double kStraightBearable_mm = 0.5;  // less than that

struct CellPlane {
  Vector3d at, normal;
};

// What the corners' places cost; each term is a squared deviation over the deviation thought bearable.
class Shaper {
 public:
  Shaper(const geometry::Profile& form, CornerMesh mesh, const LayoutOptions& options,
         std::vector<double> area_shares)
      : form_(form),
        mesh_(std::move(mesh)),
        shares_(std::move(area_shares)),
        size_(options.piece_size_mm),
        thickness_(options.tile_thickness_mm) {
    const double gap =
        options.gap_mm >= 0 ? options.gap_mm : default_gap_mm(options.smallest_fill_mm, options.spread);
    shortest_mm_ = std::min(0.42 * size_, 2 * gap + 3);
    half_gap_mm_ = gap / 2;
    bearable_step_mm_ = 0.25 * gap;
    // Areas are compared half way through the stock: on tight curves the faces are larger, the roots smaller.
    for (const auto& corner : mesh_.corners) at_.push_back(form.point(corner.uv, thickness_ / 2));
    for (const auto& corner : mesh_.corners) top_.push_back(form.point(corner.uv, thickness_));
    start_ = at_;
    if (shares_.empty()) shares_.assign(mesh_.cells.size(), 1.0);
    double total = 0;
    for (std::size_t c = 0; c < mesh_.cells.size(); ++c) {
      total += cell_area(c);
      planes_.push_back(plane_of(c));
      for (std::size_t k = 0; k < mesh_.cells[c].size(); ++k) left_of_[edge(c, k)] = c;
    }
    mean_area_ = total / static_cast<double>(mesh_.cells.size());
    round_mm_ = SeamSolveOptions().corner_radius_mm +
                thickness_ * std::tan((options.bevel_deg >= 0 ? options.bevel_deg * std::numbers::pi / 180
                                                              : steepest_bevel_rad()));
  }

  void run(int sweeps) {
    double step = 0.02 * size_;
    for (int k = 0; k < sweeps && step > 0.02; ++k) {
      bool moved = false;
      for (std::size_t j = 0; j < at_.size(); ++j) moved |= improve(j, step);
      if (!moved) step *= 0.5;
    }
  }

  double total_cost() const {
    double sum = 0;
    for (std::size_t c = 0; c < mesh_.cells.size(); ++c) sum += cell_cost(c);
    return sum;
  }

  // Seams shorter than a share of what is wanted, as corners in the walk of the cell on their left; each
  // once.
  std::vector<std::pair<std::size_t, std::size_t>> short_seams(double share) const {
    std::vector<std::pair<std::size_t, std::size_t>> found;
    for (const auto& [ends, cell] : left_of_) {
      const auto& [i, j] = ends;
      const bool rim = !left_of_.contains({j, i});
      if (!rim && i > j) continue;  // seen from the other side
      const double straight =
          rim ? kStraight_mm : std::min(straight_from(cell, i), straight_from(left_of_.at({j, i}), j));
      if ((at_[i] - at_[j]).norm() < share * shortest_mm_ || straight < (2 * share - 1) * kStraight_mm)
        found.push_back(ends);
    }
    return found;
  }

  // Seams whose faces meet at heights so different that hardly any of the gap is left between them.
  std::size_t stepped_seams() const {
    std::size_t count = 0;
    for (const auto& [ends, cell] : left_of_) {
      count += ends.first < ends.second && step_mm(cell, ends.first, ends.second) > 2.5 * bearable_step_mm_;
    }
    return count;
  }

  const CornerMesh& mesh() const { return mesh_; }

 private:
  std::pair<std::size_t, std::size_t> edge(std::size_t c, std::size_t k) const {
    const std::vector<std::size_t>& walk = mesh_.cells[c];
    return {walk[k], walk[(k + 1) % walk.size()]};
  }

  Vector3d middle_of(std::size_t c) const {
    Vector3d centre = Vector3d::Zero();
    for (const std::size_t j : mesh_.cells[c]) centre += at_[j] / static_cast<double>(mesh_.cells[c].size());
    return centre;
  }

  CellPlane plane_of(std::size_t c) const {
    Vector2d uv(0, 0);  // near enough to the piece's own centre, and cheap
    for (const std::size_t j : mesh_.cells[c]) {
      uv += mesh_.corners[j].uv / static_cast<double>(mesh_.cells[c].size());
    }
    return {form_.point(uv, thickness_), form_.normal(uv)};
  }

  double cell_area(std::size_t c) const {
    const std::vector<std::size_t>& walk = mesh_.cells[c];
    const Vector3d centre = middle_of(c);
    double area = 0;
    for (std::size_t k = 0; k < walk.size(); ++k) {
      area += (at_[walk[k]] - centre).cross(at_[walk[(k + 1) % walk.size()]] - centre).norm() / 2;
    }
    return area;
  }

  double cell_cost(std::size_t c) const {
    const std::vector<std::size_t>& walk = mesh_.cells[c];
    const std::size_t n = walk.size();
    double cost = square((cell_area(c) / (mean_area_ * shares_[c]) - 1) / 0.10);
    double before = tan_half_turn(c, 0);
    const double first = before;
    for (std::size_t k = 0; k < n; ++k) {
      const auto [i, after] = edge(c, k);
      const double here = before, next = k + 1 < n ? tan_half_turn(c, k + 1) : first;
      before = next;
      const double length = (at_[after] - at_[i]).norm();
      if (length < shortest_mm_) cost += square((shortest_mm_ - length) / (0.06 * shortest_mm_));
      const double straight = straight_mm(i, here, after, next);
      if (straight < kStraight_mm) cost += square((kStraight_mm - straight) / kStraightBearable_mm);
      cost += step_cost(c, i, after);
      const double turn = 2 * std::atan(here) * 180 / std::numbers::pi;
      const bool rim = mesh_.corners[i].on_rim;
      if (turn < 8 && !rim) cost += square((8 - turn) / 6);    // nearly straight or hollow
      if (turn > 105) cost += square((turn - 105) / 8);        // sharper than 75 degrees
      if (turn < 50 && rim) cost += square((50 - turn) / 10);  // a thin tongue along the rim
    }
    return cost;
  }

  // Of how far a cell's outline turns to the left at its corner k.
  double tan_half_turn(std::size_t c, std::size_t k) const {
    const std::vector<std::size_t>& walk = mesh_.cells[c];
    const std::size_t n = walk.size();
    const Vector3d &at = at_[walk[k]], &before = at_[walk[(k + n - 1) % n]], &after = at_[walk[(k + 1) % n]];
    const Vector3d in = at - before, out = after - at;
    const double sine = in.cross(out).dot(planes_[c].normal), cosine = in.dot(out);
    return sine / std::max(1e-9, std::hypot(sine, cosine) + cosine);
  }

  // What is left of a side of a piece's face between the rounded corners at its ends, from the tangents of
  // half their turns; negative when they leave nothing and the piece does not reach its seam.
  double straight_mm(std::size_t i, double tan_i, std::size_t j, double tan_j) const {
    constexpr double kMost = 4;  // a turn of 150 degrees
    const auto taken = [&](std::size_t corner, double tan) {
      return (round_mm_ + (mesh_.corners[corner].on_rim ? 0 : half_gap_mm_)) * std::clamp(tan, 0.0, kMost);
    };
    return (top_[j] - top_[i]).norm() - taken(i, tan_i) - taken(j, tan_j);
  }

  double straight_from(std::size_t c, std::size_t corner) const {
    const std::vector<std::size_t>& walk = mesh_.cells[c];
    const auto k = static_cast<std::size_t>(std::find(walk.begin(), walk.end(), corner) - walk.begin());
    const std::size_t next = (k + 1) % walk.size();
    return straight_mm(corner, tan_half_turn(c, k), walk[next], tan_half_turn(c, next));
  }

  // The steepest even bevel between neighbours.
  double steepest_bevel_rad() const {
    double cosine = 1;
    for (const auto& [ends, cell] : left_of_) {
      const auto other = left_of_.find({ends.second, ends.first});
      if (other != left_of_.end())
        cosine = std::min(cosine, planes_[cell].normal.dot(planes_[other->second].normal));
    }
    return std::acos(cosine) / 2;
  }

  // How far apart two neighbouring faces' planes lie at the middle of their seam; 0 on the rim.
  double step_mm(std::size_t c, std::size_t i, std::size_t j) const {
    const auto other = left_of_.find({j, i});
    if (other == left_of_.end()) return 0;
    const Vector3d middle = (at_[i] + at_[j]) / 2;
    const CellPlane &a = planes_[c], &b = planes_[other->second];
    return std::abs((a.at - middle).dot(a.normal) - (b.at - middle).dot(b.normal));
  }

  // Neighbouring faces should meet at one height: a step takes the place of a gap.
  double step_cost(std::size_t c, std::size_t i, std::size_t j) const {
    return 0.5 * square(step_mm(c, i, j) / bearable_step_mm_);
  }

  double cost(std::size_t j) const {
    double sum = square((at_[j] - start_[j]).norm() / (0.2 * size_));
    for (const std::size_t c : mesh_.corners[j].cells) sum += cell_cost(c);
    return sum;
  }

  bool improve(std::size_t j, double step) {
    const Vector2d before = mesh_.corners[j].uv;
    double best = cost(j);
    Vector2d best_uv = before;
    // Steps of one length on the form: along the rings the map is stretched by rho / r.
    const double rho = before.norm(), r = form_.at(rho).rz.x();
    const Vector2d up = rho > 1e-6 ? Vector2d(-before / rho) : Vector2d(0, 1), along(-up.y(), up.x());
    const double stretch = r > 1e-6 ? rho / r : 1.0;
    for (int k = 0; k < 8; ++k) {
      const double t = k * std::numbers::pi / 4;
      if (mesh_.corners[j].on_rim && k % 4 != 0) continue;
      Vector2d uv = before + step * (std::cos(t) * stretch * along + std::sin(t) * up);
      if (mesh_.corners[j].on_rim) uv *= form_.length() / uv.norm();
      place(j, uv);
      const double now = cost(j);
      if (now < best - 1e-9) best = now, best_uv = uv;
    }
    place(j, best_uv);
    return best_uv != before;
  }

  void place(std::size_t j, const Vector2d& uv) {
    mesh_.corners[j].uv = uv;
    at_[j] = form_.point(uv, thickness_ / 2);
    top_[j] = form_.point(uv, thickness_);
    for (const std::size_t c : mesh_.corners[j].cells) planes_[c] = plane_of(c);
  }

  const geometry::Profile& form_;
  CornerMesh mesh_;
  std::vector<double> shares_;
  double size_, thickness_, shortest_mm_ = 0, bearable_step_mm_ = 1, mean_area_ = 0;
  double half_gap_mm_ = 0, round_mm_ = 0;   // the latter of the corners of faces
  std::vector<Vector3d> at_, top_, start_;  // corners half way through the stock, at the faces, and at first
  std::vector<CellPlane> planes_;
  std::map<std::pair<std::size_t, std::size_t>, std::size_t>
      left_of_;  // cell on the left of a seam's direction
};

// Along the rim from one corner to the next, counter-clockwise on the map.
std::vector<Vector2d> rim_line(const geometry::Profile& form, const Vector2d& from, const Vector2d& to) {
  const double start = std::atan2(from.y(), from.x());
  double turn = std::atan2(to.y(), to.x()) - start;
  if (turn < 0) turn += 2 * std::numbers::pi;
  const double rho = form.length();
  const int n = std::max(1, static_cast<int>(std::ceil(turn * form.at(rho).rz.x() / 2.0)));
  std::vector<Vector2d> line{from};
  for (int i = 1; i < n; ++i)
    line.push_back(rho * Vector2d(std::cos(start + turn * i / n), std::sin(start + turn * i / n)));
  line.push_back(to);
  return line;
}

// A seam that stays short is turned to part the other pair of its four cells, when that costs less.
void turn_short_seams(const geometry::Profile& form, const LayoutOptions& options,
                      const std::vector<double>& shares, std::unique_ptr<Shaper>& shaper) {
  for (int round = 0; round < 3; ++round) {
    bool changed = false;
    for (const auto& [i, j] : shaper->short_seams(0.9)) {
      CornerMesh turned = shaper->mesh();
      if (!turned.flip(i, j, form)) continue;
      auto trial = std::make_unique<Shaper>(form, turned, options, shares);
      trial->run(60);
      if (trial->total_cost() > shaper->total_cost()) continue;
      shaper = std::move(trial);
      changed = true;
      break;
    }
    if (!changed) return;
  }
}

}  // namespace

ShapedMesh shaped(const geometry::Profile& form, const CornerMesh& mesh, const LayoutOptions& options,
                  const std::vector<double>& area_shares) {
  auto shaper = std::make_unique<Shaper>(form, mesh, options, area_shares);
  shaper->run(200);
  turn_short_seams(form, options, area_shares, shaper);
  const std::size_t faults = shaper->short_seams(0.85).size() + shaper->stepped_seams();
  return {shaper->mesh(), shaper->total_cost(), faults};
}

CellComplex cells_of(const geometry::Profile& form, const CornerMesh& mesh) {
  CellComplex complex;
  complex.cells.resize(mesh.cells.size());
  complex.on_rim.assign(mesh.cells.size(), 0);
  std::map<std::pair<std::size_t, std::size_t>, std::size_t> seam_of;  // by corners, as first walked
  for (std::size_t c = 0; c < mesh.cells.size(); ++c) {
    const std::vector<std::size_t>& walk = mesh.cells[c];
    for (std::size_t k = 0; k < walk.size(); ++k) {
      const std::size_t i = walk[k], j = walk[(k + 1) % walk.size()];
      std::vector<Vector2d> line;
      if (mesh.corners[i].on_rim && mesh.corners[j].on_rim) {
        line = rim_line(form, mesh.corners[i].uv, mesh.corners[j].uv);
        complex.on_rim[c] = 1;
      } else if (const auto other = seam_of.find({j, i}); other != seam_of.end()) {
        line = complex.seams[other->second].line;
        std::reverse(line.begin(), line.end());
        complex.seams[other->second].b = c;
      } else {
        line = geometry::surface_line(form, mesh.corners[i].uv, mesh.corners[j].uv, 2.0);
        seam_of[{i, j}] = complex.seams.size();
        complex.seams.push_back({c, c, line});
      }
      complex.cells[c].insert(complex.cells[c].end(), line.begin(), line.end() - 1);
    }
  }
  return complex;
}

}  // namespace interstice::layout
