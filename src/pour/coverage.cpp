#include "pour/coverage.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace interstice::pour {
namespace {

// Furthest from the pole that every ring-1 piece reaches: the form below that edge is not meant to be
// covered.
double covered_to_rho(const plan::Plan& plan) {
  double rho = std::numeric_limits<double>::infinity();
  int lowest = std::numeric_limits<int>::max();
  for (const plan::PlannedTile& t : plan.tiles) lowest = std::min(lowest, t.ring);
  for (const plan::PlannedTile& t : plan.tiles) {
    if (t.ring != lowest) continue;
    double most = 0;
    for (const Eigen::Vector2d& p : t.outline) most = std::max(most, p.norm());
    rho = std::min(rho, most);
  }
  return rho;
}

// Nearest to the pole that the highest ring begun reaches on the plan.
double begun_from_rho(const plan::Plan& plan, int rings_on) {
  double rho = std::numeric_limits<double>::infinity();
  int highest = 0;
  for (const plan::PlannedTile& t : plan.tiles) highest = std::max(highest, t.ring);
  if (rings_on >= highest) return 0;
  for (const plan::PlannedTile& t : plan.tiles) {
    if (t.ring != rings_on) continue;
    double mean = 0;
    for (const Eigen::Vector2d& p : t.outline) mean += p.norm() / static_cast<double>(t.outline.size());
    rho = std::min(rho, mean);
  }
  return rho;
}

void count_area(const plan::Plan& plan, const channels::VoidGrid& grid, Coverage& c) {
  const double from = begun_from_rho(plan, c.rings_on), to = covered_to_rho(plan);
  for (std::size_t j = 0; j < grid.side(); ++j) {
    for (std::size_t i = 0; i < grid.side(); ++i) {
      const double rho = grid.map_at(i, j).norm();
      if (rho < from || rho > to) continue;
      const Eigen::Vector2d s = grid.scale(rho, 0);
      const double area = s.x() * s.y() * grid.step_mm() * grid.step_mm();
      c.form_area_mm2 += area;
      if (grid.column(i, j).in_arris) c.covered_area_mm2 += area;
      bool bare = !grid.column(i, j).near_piece;
      if (!bare && !grid.column(i, j).in_arris) {
        bare = true;
        for (std::size_t k = 0; k < grid.layers() && bare; ++k) bare = grid.void_fraction(i, j, k) <= 0;
      }
      if (bare) c.bare_area_mm2 += area;
    }
  }
}

}  // namespace

Coverage coverage_of(const seams::FitDocument& fit, const plan::Plan& plan, const channels::ShellSolids&,
                     const channels::VoidGrid& grid) {
  Coverage c;
  c.planned = static_cast<int>(plan.tiles.size());
  for (const plan::PlannedTile& t : plan.tiles) c.rings_planned = std::max(c.rings_planned, t.ring);
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) {
    if (fit.tiles[i].state == plan::TileState::absent) continue;
    c.rings_on = std::max(c.rings_on, plan.tiles[geometry::TileIndex(i)].ring);
  }
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) {
    const seams::FitTile& t = fit.tiles[i];
    if (t.state == plan::TileState::placed) ++c.placed;
    if (t.state == plan::TileState::unseen) c.unseen.push_back(t.label);
    if (t.state != plan::TileState::absent) continue;
    if (plan.tiles[geometry::TileIndex(i)].ring > c.rings_on) {
      ++c.not_begun;
    } else {
      c.absent.push_back(t.label);
    }
  }
  for (const seams::FitSeam& s : fit.seams) {
    if (s.verdict == seams::Verdict::too_tight) c.too_tight.push_back(s.tiles);
    if (s.verdict == seams::Verdict::pinched) c.pinched.push_back(s.tiles);
    if (s.verdict == seams::Verdict::doubtful) c.doubtful.push_back(s.tiles);
    if (s.verdict == seams::Verdict::unseen) c.unseen_seams.push_back(s.tiles);
  }
  count_area(plan, grid, c);
  return c;
}

std::string joined(const std::vector<std::string>& words, std::size_t most) {
  std::string out;
  for (std::size_t i = 0; i < words.size() && i < most; ++i) out += (i > 0 ? ", " : "") + words[i];
  if (words.size() > most) out += " and " + std::to_string(words.size() - most) + " more";
  return out;
}

std::string joined(const std::vector<TilePair>& pairs, std::size_t most) {
  std::vector<std::string> words;
  for (const TilePair& p : pairs) words.push_back(p[0] + "/" + p[1]);
  return joined(words, most);
}

std::vector<std::string> coverage_reasons(const Coverage& c, bool rings_to_come) {
  std::vector<std::string> out;
  const auto line = [&](std::size_t n, const std::string& one, const std::string& many,
                        const std::string& which) {
    if (n > 0) out.push_back(std::to_string(n) + " " + (n == 1 ? one : many) + ": " + which);
  };
  line(c.absent.size(), "piece is missing", "pieces are missing", joined(c.absent));
  line(c.unseen.size(), "piece was not seen", "pieces were not seen", joined(c.unseen));
  line(c.too_tight.size(), "seam is too tight", "seams are too tight", joined(c.too_tight));
  line(c.pinched.size(), "seam is pinched behind its mouth", "seams are pinched behind their mouths",
       joined(c.pinched));
  line(c.doubtful.size(), "seam is doubtful", "seams are doubtful", joined(c.doubtful));
  line(c.unseen_seams.size(), "seam was not seen", "seams were not seen", joined(c.unseen_seams));
  if (rings_to_come && c.not_begun > 0) {
    out.push_back("rings above ring " + std::to_string(c.rings_on) + " are not on yet (" +
                  std::to_string(c.not_begun) + (c.not_begun == 1 ? " piece)" : " pieces)"));
  }
  return out;
}

}  // namespace interstice::pour
