#include "layout/seam_solve.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/errors.h"
#include "geometry/region.h"
#include "solid/piece_body.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

struct SeamState {
  std::vector<double> arc;   // along the line, mm on the form
  Vector3d shape;            // of the half width along it: 1, x, x^2 with x from -1 to 1
  double slant_mm = 0;       // largest of the latter two
  std::vector<double> half;  // half widths at the line's points
  std::vector<char> inner;   // away from the junctions, where the arris is not rounded off
  double mouth = 0;          // narrowest as last measured
};

geometry::Polygon densified(const geometry::Polygon& cell, double step) {
  geometry::Polygon out;
  for (std::size_t i = 0; i < cell.size(); ++i) {
    const Vector2d& a = cell[i];
    const Vector2d d = cell[(i + 1) % cell.size()] - a;
    const int n = std::max(1, static_cast<int>(std::ceil(d.norm() / step)));
    for (int k = 0; k < n; ++k) out.push_back(a + d * (static_cast<double>(k) / n));
  }
  return out;
}

// Shorter edges of an outline carry no direction.
constexpr double kShortestEdge_mm = 0.1;

// A rounded corner of 2 mm turns by 14 degrees a step of 0.5 mm; a point that turns by far more is a nib
// left by cutting and projecting. The sharpest first, for its neighbours only turn because of it.
geometry::Polygon without_nibs(geometry::Polygon outline) {
  constexpr double kSharp = std::numbers::pi / 3;
  constexpr std::size_t kFewest = 12;
  while (outline.size() > kFewest) {
    std::size_t worst = 0;
    double most = 0;
    for (std::size_t i = 0, n = outline.size(); i < n; ++i) {
      const Vector2d in = outline[i] - outline[(i + n - 1) % n], out = outline[(i + 1) % n] - outline[i];
      const double turn = std::abs(std::atan2(in.x() * out.y() - in.y() * out.x(), in.dot(out)));
      if (turn > most) most = turn, worst = i;
    }
    if (most < kSharp) break;
    outline.erase(outline.begin() + static_cast<std::ptrdiff_t>(worst));
  }
  return outline;
}

class Solver {
 public:
  Solver(const CellComplex& complex, const SeamSolveOptions& options, plan::Plan& plan)
      : complex_(complex), options_(options), plan_(plan), seams_of_(complex.cells.size()) {
    for (std::size_t k = 0; k < complex.seams.size(); ++k) {
      seams_of_[complex.seams[k].a].push_back(k);
      seams_of_[complex.seams[k].b].push_back(k);
    }
    growth_ = plan.tile_thickness_mm * std::tan(plan.bevel_deg * std::numbers::pi / 180.0);
    if (plan.tiles.size() != complex.cells.size()) label_tiles();
    start_seams();
    constexpr int kRimPoints = 2880;
    for (int k = 0; k < kRimPoints; ++k) {
      const double theta = 2 * std::numbers::pi * k / kRimPoints;
      rim_.push_back(plan.profile.length() * Vector2d(std::cos(theta), std::sin(theta)));
    }
  }

  SeamSolveResult run() {
    SeamSolveResult result;
    for (int k = 0; k < 2; ++k) cut_all();  // the planes settle over their footprints
    double best = std::numeric_limits<double>::infinity();
    int best_round = 0;
    for (result.rounds = 1; result.rounds <= options_.max_rounds; ++result.rounds) {
      result.worst_error_mm = measure_and_correct();
      if (result.worst_error_mm < options_.tolerance_mm) break;
      constexpr int kPatience =
          8;  // rounds without getting nearer: what is left is not for half widths to mend
      if (result.worst_error_mm < 0.97 * best) best = result.worst_error_mm, best_round = result.rounds;
      if (result.rounds - best_round >= kPatience) break;
      cut_all();
      if (result.rounds % 3 == 0) cut_all();
    }
    result.rounds = std::min(result.rounds, options_.max_rounds);
    result.worst_error_mm = 0;  // of all seams there are, also where pieces meet only at a fork
    for (const solid::PlannedSeam& seam : solid::planned_seams(solid::planned_bodies(plan_))) {
      result.worst_error_mm = std::max(result.worst_error_mm, std::abs(seam.mouth_mm - options_.gap_mm));
    }
    return result;
  }

 private:
  void label_tiles() {
    const std::vector<int> rings = rings_from_rim(complex_);
    std::vector<Vector2d> centres;
    for (const geometry::Polygon& cell : complex_.cells) centres.push_back(geometry::centroid(cell));
    const std::vector<std::string> labels = labels_by_ring(rings, centres);
    plan_.tiles = {};
    for (std::size_t i = 0; i < rings.size(); ++i) {
      plan_.tiles.push_back({labels[i], rings[i], complex_.cells[i]});
    }
  }

  void start_seams() {
    for (const CellSeam& seam : complex_.seams) {
      SeamState state;
      state.arc.push_back(0);
      for (std::size_t i = 1; i < seam.line.size(); ++i) {
        const Vector3d a = plan_.profile.point(seam.line[i - 1]), b = plan_.profile.point(seam.line[i]);
        state.arc.push_back(state.arc.back() + (b - a).norm());
      }
      const double length = state.arc.back();
      const double margin = std::min(0.3 * length, options_.gap_mm + options_.corner_radius_mm);
      for (const double s : state.arc) state.inner.push_back(s >= margin && s <= length - margin);
      state.shape = Vector3d(options_.gap_mm / 2, 0, 0);
      // How a mouth changes along a seam shows only between the rounded corners. With less than a corner's
      // own size left there, the side is moved as it is.
      const double between =
          length - 2 * (options_.gap_mm + options_.corner_radius_mm + growth_) / std::sqrt(3.0);
      state.slant_mm = 0.25 * options_.gap_mm *
                       std::clamp(between / (options_.corner_radius_mm + growth_) - 0.5, 0.0, 1.0);
      state.half.assign(seam.line.size(), options_.gap_mm / 2);
      states_.push_back(std::move(state));
    }
  }

  // Where the form's normal at a place meets a face. Faces dip below the raised form towards their edges;
  // followed along the normals that two faces share, their sides still meet over the line between them.
  Vector2d on_face(const geometry::PlaneFrame& frame, const Vector2d& uv) const {
    const Vector3d p = plan_.profile.point(uv, plan_.tile_thickness_mm), n = plan_.profile.normal(uv);
    return frame.drop(p - n * (frame.height(p) / std::max(0.3, n.dot(frame.normal))));
  }

  // The arris wanted for a tile in its present face plane.
  geometry::Polygon wanted_arris(std::size_t i, const geometry::PlaneFrame& frame) const {
    geometry::Polygon cell;
    for (const Vector2d& uv : densified(complex_.cells[i], 2.0)) cell.push_back(on_face(frame, uv));
    geometry::Region gaps;
    for (const std::size_t k : seams_of_[i]) {
      std::vector<Vector2d> line;
      for (const Vector2d& uv : complex_.seams[k].line) line.push_back(on_face(frame, uv));
      gaps.push_back(geometry::ribbon(line, states_[k].half));
    }
    geometry::Region region = geometry::difference(geometry::united({cell}), geometry::united(gaps));
    region = geometry::intersection(region, {above_bench(frame)});
    return geometry::largest(geometry::opened(region, options_.corner_radius_mm + growth_));
  }

  // The part of a face plane with z >= 0, as a large square.
  static geometry::Polygon above_bench(const geometry::PlaneFrame& frame) {
    constexpr double kFar = 5000;
    const Vector2d up(frame.ex.z(), frame.ey.z());
    if (up.norm() * kFar < frame.origin.z())
      return {{-kFar, -kFar}, {kFar, -kFar}, {kFar, kFar}, {-kFar, kFar}};
    const Vector2d e = up.normalized(), side(-e.y(), e.x());
    const Vector2d foot = -frame.origin.z() / up.norm() * e;
    return {foot + kFar * side, foot - kFar * side, foot - kFar * side + kFar * e,
            foot + kFar * side + kFar * e};
  }

  void cut(std::size_t i) {
    plan::PlannedTile& tile = plan_.tiles[geometry::TileIndex(i)];
    const Vector2d centre = geometry::centroid(tile.outline);
    const geometry::PlaneFrame frame =
        geometry::make_plane_frame(plan_.profile.point(centre, plan_.tile_thickness_mm),
                                   plan_.profile.normal(centre), plan_.profile.along_ring(centre));
    const geometry::Polygon root =
        geometry::largest(geometry::offset_round({wanted_arris(i, frame)}, -growth_));
    if (root.size() < 3) {
      throw core::InputError("piece " + tile.label +
                             " would be cut away by its seams: choose larger pieces or a smaller gap");
    }
    geometry::Polygon footprint;
    double t = plan_.tile_thickness_mm;
    for (const Vector2d& p : geometry::resampled(root, 0.5)) {
      for (int k = 0; k < 20; ++k) {
        const geometry::MapPoint place = plan_.profile.locate(frame.lift(p) - t * frame.normal);
        const double slope = std::max(0.2, plan_.profile.normal(place.uv).dot(frame.normal));
        t += place.height / slope;
        if (std::abs(place.height) < 1e-5) break;
      }
      footprint.push_back(plan_.profile.locate(frame.lift(p) - t * frame.normal).uv);
    }
    tile.outline = within_rim(without_nibs(footprint));
  }

  // What lies past the rim has no form under it.
  geometry::Polygon within_rim(const geometry::Polygon& footprint) const {
    const double length = plan_.profile.length();
    if (std::all_of(footprint.begin(), footprint.end(),
                    [&](const Vector2d& p) { return p.norm() <= length; })) {
      return footprint;
    }
    geometry::Polygon kept;
    for (const Vector2d& p : geometry::largest(geometry::intersection({footprint}, {rim_}))) {
      if (kept.empty() || (kept.back() - p).norm() > kShortestEdge_mm) kept.push_back(p);
    }
    while (kept.size() > 3 && (kept.back() - kept.front()).norm() <= kShortestEdge_mm) kept.pop_back();
    return kept;
  }

  void cut_all() {
    for (std::size_t i = 0; i < complex_.cells.size(); ++i) cut(i);
  }

  // Measures the mouths along one seam and corrects its half widths; the deviation of the narrowest.
  double correct(std::size_t k, const std::vector<solid::PieceBody>& bodies) {
    const CellSeam& seam = complex_.seams[k];
    SeamState& state = states_[k];
    std::vector<Vector3d> line;
    for (const Vector2d& uv : seam.line) line.push_back(plan_.profile.point(uv, plan_.tile_thickness_mm));
    std::vector<double> mouth(line.size(), std::numeric_limits<double>::infinity());
    double narrowest = std::numeric_limits<double>::infinity();
    const double reach = options_.gap_mm + 4;
    double near_mm = 0;  // of the first piece's arris within the 8 mm that make a seam
    for (const auto& [a, b] : {std::pair(seam.a, seam.b), std::pair(seam.b, seam.a)}) {
      for (const solid::MouthPoint& m : solid::mouth_points(bodies[a], bodies[b], reach)) {
        const double width = m.inside ? -m.width_mm : m.width_mm;
        narrowest = std::min(narrowest, width);
        if (a == seam.a && width < 8) near_mm += m.along_mm;
        const Vector3d middle = (m.on_arris + m.on_body) / 2;
        std::size_t nearest = 0;
        for (std::size_t j = 1; j < line.size(); ++j) {
          if ((line[j] - middle).squaredNorm() < (line[nearest] - middle).squaredNorm()) nearest = j;
        }
        mouth[nearest] = std::min(mouth[nearest], width);
      }
    }
    if (!std::isfinite(narrowest)) narrowest = reach;
    const bool is_seam = near_mm >= 5;  // pieces that meet only at a fork are none
    follow(state, mouth, narrowest);
    state.mouth = narrowest;
    return is_seam ? std::abs(narrowest - options_.gap_mm) : std::max(0.0, options_.gap_mm - narrowest);
  }

  // Half widths wanted at the inner points, smoothed by a parabola along the seam.
  void follow(SeamState& state, const std::vector<double>& mouth, double narrowest) const {
    const double gap = options_.gap_mm, length = std::max(1e-6, state.arc.back());
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Vector3d right = Vector3d::Zero();
    double low = std::numeric_limits<double>::infinity();
    for (std::size_t j = 0; j < state.arc.size(); ++j) {
      if (!state.inner[j] || !std::isfinite(mouth[j]) || mouth[j] > 3 * gap) continue;
      const double x = 2 * state.arc[j] / length - 1;
      const Vector3d row(1, x, x * x);
      normal += row * row.transpose();
      right += row * (gap - mouth[j]) / 2;
      low = std::min(low, mouth[j]);
    }
    normal += 0.05 * Vector3d(0, 1, 4).asDiagonal().toDenseMatrix();
    Vector3d change = Vector3d::Zero();
    if (normal(0, 0) > 0.5) change = normal.ldlt().solve(right);
    // The narrowest place decides; it may lie beside the parabola or near a junction.
    if (settled_) change = Vector3d((gap - narrowest) / 2, change[1] / 2, change[2] / 2);
    change[0] = std::clamp(change[0], -1.0, 1.0);
    state.shape += 0.8 * change;
    state.shape[0] = std::clamp(state.shape[0], 0.05 * gap, 2.5 * gap);
    for (const int k : {1, 2}) state.shape[k] = std::clamp(state.shape[k], -state.slant_mm, state.slant_mm);
    for (std::size_t j = 0; j < state.half.size(); ++j) {
      const double x = std::clamp(2 * state.arc[j] / length - 1, -0.8, 0.8);
      state.half[j] = std::clamp(state.shape.dot(Vector3d(1, x, x * x)), 0.05 * gap, 2.5 * gap);
    }
  }

  // A face's outline follows a rounded corner of radius R as a polygon whose corners, turning by 2 h each,
  // lie R h^2 / 2 outside it: up to a tenth of a millimetre. Half of that is taken off, so that outlines read
  // as polygons or as curves are equally near the gap: the mean of its neighbours, weighted w, draws a corner
  // in by 2 w R h^2.
  std::vector<solid::PieceBody> standing_bodies() const {
    constexpr double kW = 1.0 / 8;
    std::vector<solid::PieceBody> bodies = solid::planned_bodies(plan_);
    for (solid::PieceBody& body : bodies) {
      const std::vector<Vector3d> arris = body.arris;
      const std::size_t n = arris.size();
      for (std::size_t i = 0; i < n; ++i)
        body.arris[i] = (1 - kW) * arris[i] + kW / 2 * (arris[(i + n - 1) % n] + arris[(i + 1) % n]);
    }
    return bodies;
  }

  double measure_and_correct() {
    const std::vector<solid::PieceBody> bodies = standing_bodies();
    double worst = 0;
    for (std::size_t k = 0; k < states_.size(); ++k) worst = std::max(worst, correct(k, bodies));
    settled_ = ++rounds_ >= 2;
    return worst;
  }

  const CellComplex& complex_;
  const SeamSolveOptions& options_;
  plan::Plan& plan_;
  std::vector<std::vector<std::size_t>> seams_of_;
  std::vector<SeamState> states_;
  geometry::Polygon rim_;  // on the map
  double growth_ = 0;
  int rounds_ = 0;
  bool settled_ = false;
};

}  // namespace

SeamSolveResult solve_seams(const CellComplex& complex, const SeamSolveOptions& options, plan::Plan& plan) {
  return Solver(complex, options, plan).run();
}

double bevel_for_plan_deg(const CellComplex& complex, const plan::Plan& plan) {
  double largest_deg = 0;
  for (const CellSeam& seam : complex.seams) {
    const Vector2d a = geometry::centroid(plan.tiles[geometry::TileIndex(seam.a)].outline);
    const Vector2d b = geometry::centroid(plan.tiles[geometry::TileIndex(seam.b)].outline);
    const Vector3d along = plan.profile.point(seam.line.back()) - plan.profile.point(seam.line.front());
    const Vector3d up = plan.profile.normal(a) + plan.profile.normal(b);
    const Vector3d across = plan.profile.point(b) - plan.profile.point(a);
    Vector3d side = along.cross(up);
    if (side.dot(across) < 0) side = -side;
    largest_deg =
        std::max(largest_deg, solid::even_bevel_deg(plan.profile.normal(a), plan.profile.normal(b), side));
  }
  return std::ceil(largest_deg * 2 - 1e-6) / 2;
}

double cells_bevel_deg(const CellComplex& complex, plan::Plan plan) {
  plan.tiles = {};
  for (const geometry::Polygon& cell : complex.cells) plan.tiles.push_back({"", 1, cell});
  return bevel_for_plan_deg(complex, plan);
}

}  // namespace interstice::layout
