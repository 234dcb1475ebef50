#include "layout/trace_plan.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "geometry/cyclic_runs.h"
#include "layout/seam_solve.h"
#include "solid/piece_body.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

bool lines_are_shared(const std::vector<TracedCell>& cells) {
  std::size_t cell = 0, strip = 0;
  for (const TracedCell& c : cells) {
    for (const int beyond : c.beyond) (beyond >= 0 ? cell : strip) += 1;
  }
  return cell > strip;
}

// Points of a closed outline with the same cell beyond; short stretches join the longer neighbour, so that noise
// at a fork does not make a seam.
using Stretch = geometry::CyclicRun<int>;

std::vector<Stretch> stretches(const std::vector<int>& beyond, std::size_t shortest) {
  const std::size_t n = beyond.size();
  std::vector<Stretch> all = geometry::cyclic_runs(beyond);
  while (all.size() > 1) {
    const auto shortest_one = std::min_element(
        all.begin(), all.end(), [](const Stretch& a, const Stretch& b) { return a.count < b.count; });
    if (shortest_one->count >= shortest) break;
    const auto i = static_cast<std::size_t>(shortest_one - all.begin()), size = all.size();
    const std::size_t left = (i + size - 1) % size, right = (i + 1) % size;
    const std::size_t half = all[i].count / 2;
    all[left].count += half;
    all[right].first = (all[right].first + n - (all[i].count - half)) % n;
    all[right].count += all[i].count - half;
    all.erase(all.begin() + static_cast<std::ptrdiff_t>(i));
  }
  return all;
}

// A line without the unevenness of single pixels: means over about 2 mm at steps of 2 mm, ends kept.
std::vector<Vector2d> calmed(const geometry::Polygon& outline, const Stretch& s, std::size_t per_step) {
  const std::size_t n = outline.size();
  const auto at = [&](std::size_t k) { return outline[(s.first + k) % n]; };
  std::vector<Vector2d> line{at(0)};
  const std::size_t last = s.count;  // one point on, into the fork
  for (std::size_t k = per_step; k + per_step / 2 < last; k += per_step) {
    Vector2d sum = Vector2d::Zero();
    std::size_t used = 0;
    for (std::size_t m = k - per_step / 2; m <= std::min(k + per_step / 2, last); ++m) sum += at(m), ++used;
    line.push_back(sum / static_cast<double>(used));
  }
  line.push_back(at(last));
  return line;
}

CellComplex complex_of_shared(const std::vector<TracedCell>& cells) {
  CellComplex complex;
  for (const TracedCell& c : cells) complex.cells.push_back(c.outline), complex.on_rim.push_back(c.on_rim);
  for (std::size_t i = 0; i < cells.size(); ++i) {
    for (const Stretch& s : stretches(cells[i].beyond, 5)) {
      const auto other = static_cast<std::size_t>(s.value);
      if (s.value < 0 || other < i) continue;
      complex.seams.push_back({i, other, calmed(cells[i].outline, s, 4)});
    }
  }
  return complex;
}

// Which cells stand beside each other, where every piece has its own line: outlines near each other in 3-D.
CellComplex complex_of_own(const std::vector<TracedCell>& cells, const geometry::Profile& form) {
  CellComplex complex;
  std::vector<std::vector<Vector3d>> outlines;
  std::vector<Vector3d> middles;
  std::vector<double> radii;
  for (const TracedCell& c : cells) {
    complex.cells.push_back(c.outline), complex.on_rim.push_back(c.on_rim);
    std::vector<Vector3d> outline;
    for (const Vector2d& p : geometry::resampled(c.outline, 1.0)) outline.push_back(form.point(p));
    middles.push_back(form.point(geometry::centroid(c.outline)));
    radii.push_back(0);
    for (const Vector3d& p : outline) radii.back() = std::max(radii.back(), (p - middles.back()).norm());
    outlines.push_back(std::move(outline));
  }
  mark_lowest(complex, form.length());
  constexpr double kBeside_mm = 14;   // wider than any gap that is poured
  constexpr std::size_t kLength = 5;  // points, about mm
  for (std::size_t i = 0; i < cells.size(); ++i) {
    for (std::size_t j = i + 1; j < cells.size(); ++j) {
      if ((middles[i] - middles[j]).norm() > radii[i] + radii[j] + kBeside_mm) continue;
      std::vector<double> distance;
      for (const Vector3d& p : outlines[i])
        distance.push_back(geometry::nearest_on_closed(outlines[j], p).distance);
      std::sort(distance.begin(), distance.end());
      // Beside each other: a stretch, not only two corners, comes near.
      if (distance.size() <= kLength || distance[kLength] > kBeside_mm) continue;
      if (distance[kLength] > 1.6 * distance[0] + 2.0) continue;
      complex.seams.push_back({i, j, {}});
    }
  }
  return complex;
}

void take_outlines(const CellComplex& complex, plan::Plan& plan) {
  const std::vector<int> rings = rings_from_rim(complex);
  std::vector<Vector2d> centres;
  for (const geometry::Polygon& cell : complex.cells) centres.push_back(geometry::centroid(cell));
  const std::vector<std::string> labels = labels_by_ring(rings, centres);
  for (std::size_t i = 0; i < rings.size(); ++i) {
    plan.tiles.push_back({labels[i], rings[i], geometry::resampled(complex.cells[i], 1.0)});
  }
}

double median_mouth(const plan::Plan& plan) {
  std::vector<double> mouths;
  for (const solid::PlannedSeam& seam : solid::planned_seams(solid::planned_bodies(plan)))
    mouths.push_back(seam.mouth_mm);
  return std::max(0.0, core::median(std::move(mouths)));
}

}  // namespace

void plan_of_cells(const std::vector<TracedCell>& cells, const geometry::Profile& form,
                   const TraceOptions& options, TraceResult& result) {
  plan::Plan& plan = result.plan;
  plan.name = options.name;
  plan.profile = form;
  plan.tile_thickness_mm = options.tile_thickness_mm;
  constexpr double kUsualBevel_deg = 10;  // common practice, no source
  plan.bevel_deg = options.bevel_deg >= 0 ? options.bevel_deg : kUsualBevel_deg;
  plan.smallest_fill_mm = options.smallest_fill_mm;
  result.shared_lines =
      options.drawn == DrawnLines::shared || (options.drawn == DrawnLines::decide && lines_are_shared(cells));
  if (result.shared_lines) {
    SeamSolveOptions solve;
    solve.gap_mm = options.gap_mm;
    plan.planned_gap_mm = options.gap_mm;
    CellComplex complex = complex_of_shared(cells);
    if (std::find(complex.on_rim.begin(), complex.on_rim.end(), 1) == complex.on_rim.end())
      mark_lowest(complex, form.length());
    if (options.bevel_deg < 0) plan.bevel_deg = cells_bevel_deg(complex, plan);
    result.worst_gap_error_mm = solve_seams(complex, solve, plan).worst_error_mm;
  } else {
    take_outlines(complex_of_own(cells, form), plan);
    plan.planned_gap_mm = median_mouth(plan);
  }
}

}  // namespace interstice::layout
