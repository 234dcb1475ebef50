#include "layout/paper_trace.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "layout/trace_plan.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

// Papers that were cut along one line: either edge of it comes to lie in the middle between both.
std::vector<TracedCell> met_halfway(const PaperFit& fit, const geometry::Profile& form) {
  std::vector<std::vector<Vector3d>> lines;
  for (const LaidPaper& paper : fit.papers) {
    lines.emplace_back();
    for (const Vector2d& uv : paper.outline) lines.back().push_back(form.point(uv));
  }
  std::vector<TracedCell> cells;
  for (std::size_t i = 0; i < fit.papers.size(); ++i) {
    TracedCell cell;
    cell.beyond = fit.papers[i].beyond;
    for (std::size_t k = 0; k < lines[i].size(); ++k) {
      Vector2d uv = fit.papers[i].outline[k];
      if (const int beyond = cell.beyond[k]; beyond >= 0) {
        const Vector3d q =
            geometry::nearest_on_closed(lines[static_cast<std::size_t>(beyond)], lines[i][k]).point;
        uv = form.locate((lines[i][k] + q) / 2).uv;
      }
      cell.outline.push_back(uv);
    }
    cells.push_back(std::move(cell));
  }
  return cells;
}

std::vector<TracedCell> as_they_lie(const PaperFit& fit) {
  std::vector<TracedCell> cells;
  for (const LaidPaper& paper : fit.papers) {
    TracedCell cell;
    cell.outline = paper.outline, cell.beyond = paper.beyond;
    cells.push_back(std::move(cell));
  }
  return cells;
}

// Papers whose gaps are not what scissors and hands make them: off by less than 0.8 mm where one line was cut,
// and by less than 1.5 mm where gaps were drawn (common practice, no source).
void tell_misfits(const PaperFit& fit, const std::vector<PaperName>& names, TraceResult& result) {
  const double most_mm = fit.one_line ? 0.8 : 1.5;
  std::vector<std::size_t> worst_first;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (fit.papers[i].misfit_mm > most_mm) worst_first.push_back(i);
  }
  std::stable_sort(worst_first.begin(), worst_first.end(), [&](std::size_t a, std::size_t b) {
    return fit.papers[a].misfit_mm > fit.papers[b].misfit_mm;
  });
  for (const std::size_t i : worst_first) {
    result.look_again.push_back(
        names[i].label +
        fmt::format(": fits its neighbours only to {:.1f} mm; is it the right paper, with its upper edge up?",
                    fit.papers[i].misfit_mm));
  }
}

}  // namespace

TraceResult trace_papers(const std::vector<PaperPage>& pages, const std::vector<PaperName>& names,
                         const geometry::Profile& form, const TraceOptions& options, int threads) {
  TraceResult result;
  std::vector<const PaperPiece*> pieces;
  for (const PaperPage& page : pages) {
    for (const PaperPiece& piece : page.pieces) pieces.push_back(&piece);
    result.left_out.insert(result.left_out.end(), page.left_out.begin(), page.left_out.end());
    result.look_again.insert(result.look_again.end(), page.look_again.begin(), page.look_again.end());
  }
  std::vector<char> named(pieces.size(), 0);
  std::vector<PaperToLay> papers;
  for (const PaperName& name : names) {
    named[name.paper] = 1;
    papers.push_back({pieces[name.paper]->outline, name.ring});
  }
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    if (named[i] == 0) result.left_out.push_back(proposed_name(i) + ": has no name in the labels' file");
  }
  PaperFitOptions how;
  how.threads = threads;
  if (options.drawn != DrawnLines::decide) how.one_line = options.drawn == DrawnLines::shared;
  how.least_gap_mm = 0.35 * options.gap_mm;  // scissors take less
  const PaperFit fit = lay_papers(papers, form, how);
  result.shared_lines = fit.one_line;
  std::vector<TracedCell> cells = result.shared_lines ? met_halfway(fit, form) : as_they_lie(fit);
  for (std::size_t i = 0; i < cells.size(); ++i) cells[i].on_rim = names[i].ring == 1;
  TraceOptions as_told = options;
  as_told.drawn = result.shared_lines ? DrawnLines::shared : DrawnLines::own;
  plan_of_cells(cells, form, as_told, result);
  for (std::size_t i = 0; i < names.size(); ++i) {
    plan::PlannedTile& tile = result.plan.tiles[geometry::TileIndex(i)];
    tile.label = names[i].label, tile.ring = names[i].ring;
  }
  tell_misfits(fit, names, result);
  return result;
}

}  // namespace interstice::layout
