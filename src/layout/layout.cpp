#include "layout/layout.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/errors.h"
#include "core/verdict.h"
#include "geometry/form_surface.h"
#include "layout/layout_seeds.h"
#include "layout/layout_shape.h"
#include "layout/plan_check.h"
#include "plan/piece_model.h"

namespace interstice::layout {

double default_gap_mm(double smallest_fill_mm, const GapSpread& spread) {
  const double sd = std::sqrt(2 * (spread.cut_mm * spread.cut_mm + spread.glue_mm * spread.glue_mm));
  return std::ceil((smallest_fill_mm + core::kGuard * sd) * 10 - 1e-9) / 10;
}

namespace {

void check(const char* option, double value, double low, double high) {
  if (std::isfinite(value) && value >= low && value <= high) return;
  throw core::InputError(
      fmt::format("{} is {:g}; it must lie between {:g} and {:g}", option, value, low, high));
}

}  // namespace

void check_options(const LayoutOptions& o, const geometry::Profile& form) {
  check("the stock's thickness", o.tile_thickness_mm, 1, 100);
  check("the smallest fill", o.smallest_fill_mm, 0.5, 20);
  if (o.gap_mm >= 0) check("the gap", o.gap_mm, 0.5, 40);
  if (o.bevel_deg >= 0) check("the bevel", o.bevel_deg, 0, 45);
  check("the irregularity", o.irregularity, 0, 1);
  check("the spread of cutting", o.spread.cut_mm, 0, 5);
  check("the spread of gluing", o.spread.glue_mm, 0, 5);
  const double gap = o.gap_mm >= 0 ? o.gap_mm : default_gap_mm(o.smallest_fill_mm, o.spread);
  check("the piece size", o.piece_size_mm, 2.5 * gap + 5, std::sqrt(geometry::surface_area(form) / 3));
  const double pieces = geometry::surface_area(form) / (o.piece_size_mm * o.piece_size_mm);
  if (pieces > kMostPieces) {
    throw core::InputError(fmt::format(
        "pieces of {:g} mm would be about {:.0f} on this form; the limit is {}: take at least {:.1f} mm",
        o.piece_size_mm, pieces, kMostPieces, std::sqrt(geometry::surface_area(form) / kMostPieces) + 0.05));
  }
}

namespace {

constexpr std::uint32_t kAttempts = 30;  // seeds tried at most

// The best of several divisions of the form, from `attempt` on, which is moved past them; nothing when none
// is left.
std::optional<ShapedMesh> divide_form(const geometry::Profile& form, const LayoutOptions& options,
                                      std::uint32_t& attempt) {
  constexpr int kEnough = 8;  // to choose from, unless one is without fault
  std::optional<ShapedMesh> best;
  for (int found = 0; attempt < kAttempts && found < kEnough; ++attempt) {
    const auto seeds = ring_seeds(form, options, options.seed * 7919u + attempt, attempt % 3 == 2);
    const auto mesh = seeds ? corner_mesh(form, *seeds) : std::nullopt;
    if (!mesh) continue;
    ++found;
    ShapedMesh candidate = shaped(form, *mesh, options);
    if (!best || std::pair(candidate.faults, candidate.cost) < std::pair(best->faults, best->cost)) {
      best = std::move(candidate);
    }
    if (best->faults == 0) {
      ++attempt;
      break;
    }
  }
  return best;
}

// Pieces differ from their cells by gaps, walls and the bench; what a piece lost its cell gets back. A
// piece's size is the geometric mean of its face and its footprint.
void correct_shares(const plan::Plan& plan, std::vector<double>& shares) {
  std::vector<double> size;
  double mean = 0;
  for (std::size_t i = 0; i < shares.size(); ++i) {
    const double face = geometry::signed_area(plan::planned_face(plan, geometry::TileIndex(i)).outline);
    size.push_back(
        std::sqrt(face * geometry::surface_area(plan.profile, plan.tiles[geometry::TileIndex(i)].outline)));
    mean += size.back() / static_cast<double>(shares.size());
  }
  for (std::size_t i = 0; i < shares.size(); ++i) shares[i] *= std::clamp(mean / size[i], 0.7, 1.4);
}

// One division carried through: solved roughly, its areas evened out, solved again.
Layout finish(const geometry::Profile& form, const LayoutOptions& options, const plan::Plan& plan,
              ShapedMesh division) {
  std::vector<double> shares(division.mesh.cells.size(), 1.0);
  constexpr int kShareRounds = 2;
  for (int round = 0;; ++round) {
    Layout layout{plan, cells_of(form, division.mesh), {}};
    layout.plan.bevel_deg =
        options.bevel_deg >= 0 ? options.bevel_deg : cells_bevel_deg(layout.cells, layout.plan);
    SeamSolveOptions solve;
    solve.gap_mm = plan.planned_gap_mm;
    if (round < kShareRounds) solve.max_rounds = 1;
    layout.solved = solve_seams(layout.cells, solve, layout.plan);
    if (round == kShareRounds) return layout;
    correct_shares(layout.plan, shares);
    ShapedMesh again = shaped(form, division.mesh, options, shares);
    if (again.faults <= division.faults) division = std::move(again);
  }
}

// What keeps a layout from being taken at once, worst first: mouths off the gap, a seam line that runs level.
std::pair<double, double> shortcomings(const Layout& layout) {
  double mean_face = 0;
  const std::size_t count = layout.plan.tiles.size();
  for (std::size_t i = 0; i < count; ++i) {
    mean_face += geometry::signed_area(plan::planned_face(layout.plan, geometry::TileIndex(i)).outline) /
                 static_cast<double>(count);
  }
  const double worst = layout.solved.worst_error_mm, level = level_run_pieces(layout.plan, mean_face);
  return {worst > kTrueToGap_mm ? worst : 0, level > CheckLimits().level_run_pieces ? level : 0};
}

}  // namespace

Layout make_layout(const geometry::Profile& form, const LayoutOptions& options) {
  check_options(options, form);
  plan::Plan plan;
  plan.name = options.name;
  plan.profile = form;
  plan.tile_thickness_mm = options.tile_thickness_mm;
  plan.smallest_fill_mm = options.smallest_fill_mm;
  plan.planned_gap_mm =
      options.gap_mm >= 0 ? options.gap_mm : default_gap_mm(options.smallest_fill_mm, options.spread);
  constexpr int kFinished = 4;  // layouts carried through at most, until one has no shortcomings,
  constexpr int kForLevel = 3;  // and of those true to the gap, for the sake of a seam that runs level
  std::optional<Layout> best;
  std::pair<double, double> least;
  std::uint32_t attempt = 0;
  for (int k = 0; k < kFinished; ++k) {
    auto division = divide_form(form, options, attempt);
    if (!division) break;
    Layout layout = finish(form, options, plan, std::move(*division));
    const auto found = shortcomings(layout);
    if (!best || found < least) best = std::move(layout), least = found;
    if (least.first == 0 && (least.second == 0 || k + 1 >= kForLevel)) break;
  }
  if (!best)
    throw core::InputError("no layout of pieces of this size fits the form: choose a smaller piece size");
  return *best;
}

}  // namespace interstice::layout
