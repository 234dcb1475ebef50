#include "pour/pour_search.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/parallel.h"

namespace interstice::pour {
namespace {

constexpr double kGone = 0.02;  // a cell this nearly full is full: its remaining film is no channel

struct Beginning {
  std::vector<Tilt> tilts;
  ByCell<double> remaining;  // filled in only for those that are carried on
  double left_mm3 = 0, total_tilt_deg = 0;
};

// Less left is better, but once little enough is left, leaning less is.
bool better(const Beginning& a, const Beginning& b, double leave_mm3) {
  const double la = std::max(a.left_mm3, leave_mm3), lb = std::max(b.left_mm3, leave_mm3);
  if (la != lb) return la < lb;
  if (std::abs(a.total_tilt_deg - b.total_tilt_deg) > 1e-9) return a.total_tilt_deg < b.total_tilt_deg;
  return a.left_mm3 < b.left_mm3;
}

class Search {
 public:
  Search(const channels::CellGraph& graph, const ByCell<char>& usable, const ByCell<char>& may_open,
         const SearchOptions& options)
      : graph_(graph), may_open_(may_open), options_(options) {
    for (const CellIndex c : graph.cells.indices()) start_.remaining.push_back(usable[c] ? 1.0 : 0.0);
    start_.left_mm3 = volume(start_.remaining);
  }

  PourSequence run() {
    std::vector<Beginning> level{start_};
    Beginning best = start_;
    for (int pours = 1; pours <= options_.most_pours && best.left_mm3 > options_.leave_mm3; ++pours) {
      std::vector<Beginning> next = extended(level);
      if (next.empty()) break;
      // The last pour of a longer sequence must be worth its day of curing.
      if (next.front().left_mm3 >= best.left_mm3 - std::max(options_.smallest_mm3, 1e-9)) break;
      best = next.front();
      if (next.size() > options_.beam) next.resize(options_.beam);
      if (pours < options_.most_pours && best.left_mm3 > options_.leave_mm3) {
        core::parallel_for(next.size(), options_.threads,
                           [&](std::size_t k) { next[k].remaining = after(next[k].tilts); });
      }
      level = std::move(next);
    }
    if (options_.refine_tilt_deg > 0 && best.left_mm3 > options_.leave_mm3) refine(best.tilts);
    return replay(best.tilts);
  }

 private:
  double volume(const ByCell<double>& remaining) const {
    double sum = 0;
    for (const CellIndex c : remaining.indices()) sum += remaining[c] * graph_.cells[c].volume_mm3;
    return sum;
  }

  void apply(const Fill& fill, ByCell<double>& remaining) const {
    for (const CellIndex c : remaining.indices()) {
      remaining[c] *= 1 - fill.filled[c];
      if (remaining[c] < kGone) remaining[c] = 0;
    }
  }

  Fill pour(const ByCell<double>& remaining, const Tilt& tilt) const {
    return pour_at(graph_, remaining, may_open_, tilt.up(), options_.smallest_mm3);
  }

  // Every beginning with every candidate tilt after it, best first.
  std::vector<Beginning> extended(const std::vector<Beginning>& level) const {
    const std::size_t n = options_.candidates.size();
    std::vector<Beginning> out(level.size() * n);
    core::parallel_for(out.size(), options_.threads, [&](std::size_t k) {
      const Beginning& from = level[k / n];
      const Tilt& tilt = options_.candidates[k % n];
      Beginning& b = out[k];
      ByCell<double> remaining = from.remaining;
      apply(pour(from.remaining, tilt), remaining);
      b.left_mm3 = volume(remaining);
      b.total_tilt_deg = from.total_tilt_deg + tilt.tilt_deg;
      b.tilts = from.tilts;
      b.tilts.push_back(tilt);
    });
    std::stable_sort(out.begin(), out.end(), [&](const Beginning& a, const Beginning& b) {
      return better(a, b, options_.leave_mm3);
    });
    return out;
  }

  ByCell<double> after(const std::vector<Tilt>& tilts) const {
    ByCell<double> remaining = start_.remaining;
    for (const Tilt& tilt : tilts) apply(pour(remaining, tilt), remaining);
    return remaining;
  }

  void refine(std::vector<Tilt>& tilts) const {
    double best = volume(after(tilts));
    for (double scale = 1; scale >= 0.5; scale /= 2) {
      for (std::size_t i = 0; i < tilts.size(); ++i) {
        const Tilt centre = tilts[i];
        const double dt = scale * options_.refine_tilt_deg, da = scale * options_.refine_azimuth_deg;
        const Tilt around[4] = {{centre.tilt_deg + dt, centre.azimuth_deg},
                                {centre.tilt_deg - dt, centre.azimuth_deg},
                                {centre.tilt_deg, centre.azimuth_deg + da},
                                {centre.tilt_deg, centre.azimuth_deg - da}};
        std::vector<double> left(4, best);
        core::parallel_for(4, options_.threads, [&](std::size_t k) {
          if (around[k].tilt_deg < 0 || around[k].tilt_deg > 180) return;
          std::vector<Tilt> trial = tilts;
          trial[i] = around[k];
          left[k] = volume(after(trial));
        });
        const auto least = std::min_element(left.begin(), left.end());
        if (*least >= best - std::max(options_.smallest_mm3, 1e-9)) continue;  // not worth an odd angle
        best = *least;
        tilts[i] = around[static_cast<std::size_t>(least - left.begin())];
      }
    }
  }

  PourSequence replay(const std::vector<Tilt>& tilts) const {
    PourSequence sequence;
    sequence.remaining = start_.remaining;
    for (const Tilt& tilt : tilts) {
      Fill fill = pour(sequence.remaining, tilt);
      const ByCell<double> before = sequence.remaining;
      apply(fill, sequence.remaining);
      for (const CellIndex c : before.indices()) fill.filled[c] *= before[c];
      sequence.steps.push_back({tilt, std::move(fill)});
    }
    sequence.left_mm3 = volume(sequence.remaining);
    return sequence;
  }

  const channels::CellGraph& graph_;
  const ByCell<char>& may_open_;
  const SearchOptions& options_;
  Beginning start_;
};

}  // namespace

Eigen::Vector3d Tilt::up() const {
  const double t = tilt_deg * std::numbers::pi / 180, a = azimuth_deg * std::numbers::pi / 180;
  return {std::sin(t) * std::cos(a), std::sin(t) * std::sin(a), std::cos(t)};
}

PourSequence search_pours(const channels::CellGraph& graph, const ByCell<char>& usable,
                          const ByCell<char>& may_open, const SearchOptions& options) {
  return Search(graph, usable, may_open, options).run();
}

std::vector<Tilt> tilt_grid(const std::vector<double>& azimuths_deg, double step_deg) {
  std::vector<Tilt> out{{0, 0}};
  for (double tilt = step_deg; tilt < 180 - 1e-9; tilt += step_deg) {
    for (const double azimuth : azimuths_deg) out.push_back({tilt, azimuth});
  }
  out.push_back({180, 0});
  return out;
}

}  // namespace interstice::pour
