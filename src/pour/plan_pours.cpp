#include "pour/plan_pours.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "core/errors.h"
#include "pour/coverage.h"
#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

// This share of the voids left as bubbles is taken as done: what the eye and a brush of resin make good.
constexpr double kAirLeft = 0.005;

// Seams are looked for as far as the verdict does, or further where the plan means its gaps to be wide.
double reach_of(const plan::Plan& plan) {
  return std::max(core::kWidestSeam_mm, 2 * plan.planned_gap_mm);
}

// The verdicts of a fit, at another smallest fill.
seams::FitDocument judged_at(const seams::FitDocument& measured, double fill_mm) {
  seams::FitDocument fit = measured;
  if (std::abs(fill_mm - measured.smallest_fill_mm) < 1e-9) return fit;
  fit.smallest_fill_mm = fill_mm;
  for (seams::FitSeam& s : fit.seams) {
    seams::judge_again(s, fill_mm);
  }
  return fit;
}

StationIndex nearest_station(const channels::ChannelNetwork& net, const Eigen::Vector2d& uv) {
  StationIndex best;
  for (const StationIndex s : net.stations.indices()) {
    if ((net.stations[s].map - uv).norm() < (net.stations[best].map - uv).norm()) best = s;
  }
  return best;
}

ByStation<char> reached_stations(const channels::ChannelNetwork& net, double fill_mm,
                                 const std::vector<StationIndex>& openings) {
  return channels::stranded_behind(net.links, openings, closed_stations(net, fill_mm), net.channels.size())
      .reached;
}

// Down to which cells resin gets: from the openings through cells of reached stations that are wide enough at
// their own depth.
ByCell<char> reached_cells(const PourScene& scene) {
  const channels::CellGraph& graph = scene.net.cells;
  const auto passes = [&](CellIndex c) {
    const channels::ChannelCell& cell = graph.cells[c];
    const channels::Station& station = scene.net.stations[cell.station];
    return scene.reached[cell.station] && station.width_at_mm[cell.depth] >= scene.fill_mm;
  };
  const std::set<StationIndex> sources(scene.openings.begin(), scene.openings.end());
  ByCell<char> reached(graph.cells.size(), 0);
  std::vector<CellIndex> stack;
  const auto visit = [&](CellIndex c) {
    if (reached[c] || !passes(c)) return;
    reached[c] = 1;
    stack.push_back(c);
  };
  for (const CellIndex c : graph.cells.indices()) {
    if (sources.contains(graph.cells[c].station)) visit(c);
  }
  while (!stack.empty()) {
    const CellIndex c = stack.back();
    stack.pop_back();
    for (const DoorwayIndex d : graph.at[c]) visit(graph.other_side(d, c));
  }
  return reached;
}

std::string in_ml(double ml) {
  const long tenths = std::lround(10 * ml);
  return std::to_string(tenths / 10) + "." + std::to_string(tenths % 10) + " ml";
}

void say_whether_ready(PourDocument& d) {
  const auto with = [&](bool rings_to_come) {
    std::vector<std::string> reasons = coverage_reasons(d.coverage, rings_to_come);
    if (d.stranded_length_mm > 0.5) {
      reasons.push_back("resin cannot reach " + std::to_string(std::lround(d.stranded_length_mm)) +
                        " mm of seam (" + in_ml(d.stranded_ml) + ")");
    }
    if (d.pinched_ml > 0.05) {
      reasons.push_back("resin runs along " + std::to_string(std::lround(d.pinched_length_mm)) +
                        " mm more but does not get down behind narrow throats (" + in_ml(d.pinched_ml) + ")");
    }
    if (d.seams_ml > 0 && d.openings.empty()) {
      reasons.push_back("no opening: the shell ends nowhere; say where with --opening U,V");
    }
    if (d.trapped_ml_after > kAirLeft * d.seams_ml) {
      reasons.push_back("about " + std::to_string(std::lround(d.trapped_ml_after)) +
                        " ml of air stay after the pours that were found");
    }
    if (d.coverage.placed == 0) reasons.push_back("no piece is on the form");
    return reasons;
  };
  d.reasons = with(true);
  d.ready = d.reasons.empty();
  d.ready_for_rings_on = with(false).empty();
}

// Pours at one lean are made in steps of the resin's greatest depth: how many with another depth.
int pours_with(const PourDocument& d, double max_depth_mm) {
  int pours = 0;
  for (const PourReport& p : d.pours) {
    if (p.lift == 1)
      pours += std::max(1, static_cast<int>(std::ceil(p.deepest_mm * p.lifts / max_depth_mm - 1e-9)));
  }
  return pours;
}

// More pours than that are a week of evenings (common practice, no source).
void warn_of_many_pours(const Resin& resin, PourDocument& d) {
  constexpr int kMany = 5;
  if (!resin.max_depth_mm || d.pours.size() <= kMany) return;
  double deepest = 0;
  for (const PourReport& p : d.pours) deepest = std::max(deepest, p.deepest_mm * p.lifts);
  double depth = 5 * std::ceil(*resin.max_depth_mm / 5);
  while (depth < deepest && pours_with(d, depth) > kMany) depth += 5;
  d.warnings.push_back("this resin's greatest depth of " + std::to_string(std::lround(*resin.max_depth_mm)) +
                       " mm makes " + std::to_string(d.pours.size()) + " pours; one that may stand " +
                       std::to_string(std::lround(depth)) + " mm deep would need " +
                       std::to_string(pours_with(d, depth)));
}

void warn(const std::optional<Resin>& resin, PourDocument& d) {
  if (d.under_pieces_ml > 0.5) {
    d.warnings.push_back(
        "up to " + std::to_string(std::lround(d.under_pieces_ml)) +
        " ml more may creep under the pieces, where flat stock hovers over the round form (if the backs are "
        "shaped to the form, say \"back\": \"fitted\" in the plan): each tenth of a millimetre of glue under "
        "them more or less changes that by " +
        std::to_string(std::max(1L, std::lround(to_ml(0.1 * d.coverage.covered_area_mm2)))) + " ml");
  }
  if (d.coverage.form_area_mm2 > 0 && d.coverage.bare_area_mm2 > 0.01 * d.coverage.form_area_mm2) {
    d.warnings.push_back(std::to_string(std::lround(d.coverage.bare_area_mm2 / 100)) +
                         " square cm of the form lie bare: neither under a piece nor in a seam");
  }
  if (!resin) {
    d.warnings.push_back(
        "no resin given: masses, times and steps by depth are left out (--resin resin.json)");
    return;
  }
  warn_of_many_pours(*resin, d);
  if (d.bubble_limit_mm && *d.bubble_limit_mm > d.smallest_fill_mm) {
    d.warnings.push_back(
        "a bubble does not rise by itself in a channel narrower than about " +
        std::to_string(std::lround(10 * *d.bubble_limit_mm) / 10) + "." +
        std::to_string(std::lround(10 * *d.bubble_limit_mm) % 10) +
        " mm with this resin, more than the smallest fill: pour slowly, from one place, and tap");
  }
}

}  // namespace

struct ResinReach::State {
  seams::FitDocument fit;
  channels::ShellSolids shell;
  channels::VoidGrid grid;
  channels::ChannelNetwork net;
  PourScene scene;
  PourDocument document;

  State(const seams::FitDocument& measured, const plan::Plan& plan, const PourOptions& options)
      : fit(judged_at(measured, options.smallest_fill_mm.value_or(measured.smallest_fill_mm))),
        shell(channels::solids_of(fit, plan)),
        grid(shell, {.step_mm = 0.5,
                     .reach_mm = reach_of(plan),
                     .wall_lean = std::tan(plan.bevel_deg * std::numbers::pi / 180),
                     .backs_fitted = plan.back == plan::Back::fitted,
                     .threads = options.threads}),
        net(channels::channel_network(fit, shell, grid, fit.smallest_fill_mm, options.threads)),
        scene{fit, plan, net, fit.smallest_fill_mm, net.openings(), {}, {}} {
    for (const Eigen::Vector2d& uv : options.openings) {
      if (!net.stations.empty()) scene.openings.push_back(nearest_station(net, uv));
    }
    scene.reached = reached_stations(net, scene.fill_mm, scene.openings);
    scene.reached_cell = reached_cells(scene);
    document.name = fit.name.empty() ? plan.name : fit.name;
    document.smallest_fill_mm = fit.smallest_fill_mm;
    document.cautions = cautions();
    document.coverage = coverage_of(fit, plan, shell, grid);
    document.seams_ml = to_ml(grid.seam_volume_mm3());
    document.under_pieces_ml = to_ml(grid.under_volume_mm3());
    document.rim_ml = to_ml(grid.rim_volume_mm3());
    document.void_volume_ml = document.seams_ml + document.under_pieces_ml + document.rim_ml;
    report_network(scene, document);
    report_stranded(scene, options.threads, document);
  }
};

ResinReach::ResinReach(const seams::FitDocument& fit, const plan::Plan& plan, const PourOptions& options)
    : state_(std::make_unique<const State>(fit, plan, options)) {}
ResinReach::~ResinReach() = default;

const PourDocument& ResinReach::document() const {
  return state_->document;
}

PourDocument ResinReach::with_pours(const std::optional<Resin>& resin, const PourOptions& options) const {
  PourDocument d = state_->document;
  if (resin) d.resin_name = resin->name;
  report_slot_flow(resin, d);
  report_pours(state_->scene, resin, options, d);
  report_build(state_->scene, resin, d);
  say_whether_ready(d);
  warn(resin, d);
  return d;
}

PourDocument plan_pours(const seams::FitDocument& fit, const plan::Plan& plan,
                        const std::optional<Resin>& resin, const PourOptions& options) {
  return ResinReach(fit, plan, options).with_pours(resin, options);
}

}  // namespace interstice::pour
