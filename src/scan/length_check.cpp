#include "scan/length_check.h"

#include <cmath>
#include <map>
#include <optional>
#include <vector>

#include "core/errors.h"
#include "core/parallel.h"

namespace interstice::scan {

using Eigen::Vector3d;

namespace {

struct FreedCard {
  Bundle bundle;
  std::map<int, PointIndex> point_of;  // by corner id
  std::map<int, Vector3d> printed;     // corner in frame card, mm
};

// The bundle with one card's corners as free points. Another card must keep the gauge, so card 0 is swapped
// out of the first place when it is the one freed.
FreedCard free_card(const Bundle& all, geometry::CardIndex freed) {
  FreedCard f;
  f.bundle = all;
  f.bundle.points = {};
  f.bundle.ties.clear();
  f.bundle.corners.clear();
  const geometry::CardIndex gauge(freed.value == 0 ? 1 : 0);
  std::map<int, int> seen;
  for (const CornerObservation& o : all.corners) {
    if (o.card == freed) ++seen[o.corner_id];
  }
  for (const CornerObservation& o : all.corners) {
    if (o.card != freed) {
      f.bundle.corners.push_back(o);
      continue;
    }
    if (seen[o.corner_id] < 2) continue;
    auto it = f.point_of.find(o.corner_id);
    if (it == f.point_of.end()) {
      it = f.point_of.emplace(o.corner_id, f.bundle.points.push_back(all.bench_T_card[o.card] * o.p_card))
               .first;
      f.printed[o.corner_id] = o.p_card;
    }
    f.bundle.ties.push_back({o.photo, it->second, o.pixel, o.sd_px});
  }
  if (gauge.value != 0) {  // the held card is the first one: put the gauge card there
    std::swap(f.bundle.bench_T_card[geometry::CardIndex(0)], f.bundle.bench_T_card[gauge]);
    auto& bend = f.bundle.bend_per_mm;
    if (!bend.empty()) std::swap(bend[geometry::CardIndex(0)], bend[gauge]);
    for (CornerObservation& o : f.bundle.corners) {
      if (o.card == gauge) o.card = geometry::CardIndex(0);
    }
  }
  return f;
}

}  // namespace

LengthCheck check_lengths(const Bundle& bundle, const BundleOptions& options) {
  LengthCheck check;
  if (bundle.bench_T_card.size() < 2) return check;
  std::vector<std::optional<FreedCard>> freed(bundle.bench_T_card.size());
  BundleOptions few = options;
  few.max_iterations = 15;
  core::parallel_for(freed.size(), options.threads, [&](std::size_t c) {
    FreedCard f = free_card(bundle, geometry::CardIndex(c));
    if (f.point_of.size() < 4) return;
    try {
      adjust(f.bundle, few);
      freed[c] = std::move(f);
    } catch (const core::MeasureError&) {
      // without this card the photos fall apart: nothing can be said about it
    }
  });
  double sum = 0;
  for (std::optional<FreedCard>& f : freed) {
    if (!f) continue;
    for (auto a = f->point_of.begin(); a != f->point_of.end(); ++a) {
      for (auto b = std::next(a); b != f->point_of.end(); ++b) {
        const double printed = (f->printed[a->first] - f->printed[b->first]).norm();
        const double measured = (f->bundle.points[a->second] - f->bundle.points[b->second]).norm();
        const double error = measured - printed;
        if (std::abs(error) > std::abs(check.largest_error_mm)) check.largest_error_mm = error;
        check.longest_mm = std::max(check.longest_mm, printed);
        sum += error * error;
        ++check.lengths;
      }
    }
  }
  if (check.lengths > 0) check.rms_error_mm = std::sqrt(sum / static_cast<double>(check.lengths));
  return check;
}

}  // namespace interstice::scan
