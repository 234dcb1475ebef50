#include "layout/trace.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <set>
#include <sstream>

#include "core/errors.h"
#include "core/median.h"
#include "core/name_check.h"
#include "layout/seam_solve.h"
#include "layout/trace_cells.h"
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

std::string place(const Vector2d& uv) {
  char text[64];
  std::snprintf(text, sizeof text, "near u = %.0f, v = %.0f mm", uv.x(), uv.y());
  return text;
}

// Cells whose outline is mostly guessed are left out and named.
std::vector<TracedCell> trusted(const std::vector<TracedCell>& cells, TraceResult& result) {
  constexpr double kMost = 0.5;
  std::vector<int> new_index(cells.size(), -1);
  std::vector<TracedCell> kept;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const TracedCell& c = cells[i];
    if (c.unseen_share > kMost || c.undrawn_share > kMost) {
      result.left_out.push_back(place(geometry::centroid(c.outline)) + ": " +
                                (c.unseen_share > kMost ? "the photos do not show the outline"
                                                        : "less than half of the outline is drawn"));
      continue;
    }
    new_index[i] = static_cast<int>(kept.size());
    kept.push_back(c);
  }
  for (TracedCell& c : kept) {
    for (int& b : c.beyond) b = b >= 0 ? new_index[static_cast<std::size_t>(b)] : -1;
  }
  return kept;
}

// Stretches of a closed outline with the same cell beyond, as [first, last] indices; short ones join the
// longer neighbour, so that noise at a fork does not make a seam.
struct Stretch {
  std::size_t first, count;
  int beyond;
};

std::vector<Stretch> stretches(const std::vector<int>& beyond, std::size_t shortest) {
  const std::size_t n = beyond.size();
  std::size_t start = 0;
  while (start < n && beyond[start] == beyond[(start + n - 1) % n]) ++start;
  if (start == n) return {{0, n, beyond.empty() ? -1 : beyond[0]}};
  std::vector<Stretch> all;
  for (std::size_t k = 0; k < n;) {
    std::size_t m = k;
    while (m < n && beyond[(start + m) % n] == beyond[(start + k) % n]) ++m;
    all.push_back({(start + k) % n, m - k, beyond[(start + k) % n]});
    k = m;
  }
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
      const auto other = static_cast<std::size_t>(s.beyond);
      if (s.beyond < 0 || other < i) continue;
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

void sort_by_label(plan::Plan& plan, const std::vector<TracedCell>& cells, TraceResult& result) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const std::string& label = plan.tiles[geometry::TileIndex(i)].label;
    if (cells[i].unseen_share > 0.02)
      result.look_again.push_back(label + ": part of its outline is not in the photos");
    if (cells[i].undrawn_share > 0.05) result.look_again.push_back(label + ": its line has breaks");
    if (cells[i].line_ends_inside)
      result.look_again.push_back(label +
                                  ": a line ends inside it; if two pieces are drawn there, close the line");
  }
  std::vector<plan::PlannedTile> tiles(plan.tiles.begin(), plan.tiles.end());
  std::sort(tiles.begin(), tiles.end(), [](const plan::PlannedTile& a, const plan::PlannedTile& b) {
    return std::pair(a.ring, a.label) < std::pair(b.ring, b.label);
  });
  plan.tiles = geometry::IndexedVector<geometry::TileIndex, plan::PlannedTile>(std::move(tiles));
  std::sort(result.look_again.begin(), result.look_again.end());
}

}  // namespace

TraceResult trace_layout(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                         const TraceOptions& options) {
  TraceResult result;
  const LinePicture lines = find_lines(picture, form);
  const std::vector<TracedCell> cells = trusted(find_cells(picture, form, lines), result);
  if (cells.empty()) {
    throw core::MeasureError(
        "no closed outlines found on the form: close the drawn lines and photograph it again");
  }
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
  sort_by_label(plan, cells, result);
  return result;
}

void rename_tiles(plan::Plan& plan, const std::string& text, const std::string& file) {
  std::map<std::string, std::string> wanted;
  std::istringstream in(text);
  std::string line;
  const auto trimmed = [](std::string s) {
    s.erase(0, s.find_first_not_of(" \t\r"));
    s.erase(s.find_last_not_of(" \t\r") + 1);
    return s;
  };
  for (int number = 1; std::getline(in, line); ++number) {
    line = trimmed(line.substr(0, line.find('#')));
    if (line.empty()) continue;
    const auto fail = [&](const std::string& what) {
      throw core::InputError(file, "line " + std::to_string(number) + ": " + what);
    };
    const std::size_t comma = line.find_first_of(",;\t");
    if (comma == std::string::npos) fail("needs two labels with a comma between them: proposed, wanted");
    const std::string from = trimmed(line.substr(0, comma)), to = trimmed(line.substr(comma + 1));
    if (to.empty() || to.size() > 40) fail("the wanted label must have 1 to 40 characters");
    if (const auto fault = core::character_fault(to)) fail("the wanted label " + *fault);
    const bool known = std::any_of(plan.tiles.begin(), plan.tiles.end(),
                                   [&](const plan::PlannedTile& t) { return t.label == from; });
    if (!known) fail("no piece is labelled \"" + core::one_line(from, 40) + "\"");
    if (!wanted.emplace(from, to).second) fail("the label \"" + core::one_line(from, 40) + "\" stands twice");
  }
  std::set<std::string> used;
  for (plan::PlannedTile& tile : plan.tiles) {
    if (const auto it = wanted.find(tile.label); it != wanted.end()) tile.label = it->second;
    if (!used.insert(tile.label).second) {
      throw core::InputError(file, "two pieces would be labelled \"" + core::one_line(tile.label, 40) + "\"");
    }
  }
}

}  // namespace interstice::layout
