#include "solid/mouth.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "core/parallel.h"

namespace interstice::solid {
namespace {

using Eigen::Vector3d;

// Pieces that overhang each other still face each other; backs of thin pieces do not.
constexpr double kFacingCosine = -0.5;

const SolidBody& side(const SolidBody& a, const SolidBody& b, int which) {
  return which == 0 ? a : b;
}

// Does the arris near this point look towards the other end of the width? At corners either edge may.
bool looks_towards(const SolidBody& body, std::size_t segment, double t, const Vector3d& p,
                   const Vector3d& to) {
  const Vector3d d = to - p;
  const double least = kFacingCosine * d.norm();
  const std::size_t n = body.solid().arris.size();
  if (d.dot(body.outward(segment)) >= least) return true;
  if (t == 0.0 && d.dot(body.outward((segment + n - 1) % n)) >= least) return true;
  return t == 1.0 && d.dot(body.outward((segment + 1) % n)) >= least;
}

std::optional<MouthSample> sample_at(const SolidBody& a, const SolidBody& b, int from, std::size_t segment,
                                     double t, double limit_mm) {
  const SolidBody& own = side(a, b, from);
  const SolidBody& other = side(b, a, from);
  const Vector3d p = own.arris_at(segment, t);
  const auto hit = other.nearest(p, limit_mm);
  if (!hit) return std::nullopt;
  if (hit->distance_mm > 0 && !looks_towards(own, segment, t, p, hit->point)) return std::nullopt;
  MouthSample sample;
  sample.width_mm = hit->distance_mm;
  sample.from = from;
  sample.segment = segment;
  sample.t = t;
  sample.to_segment = hit->segment;
  sample.to_t = hit->t;
  sample.to_depth = hit->depth;
  sample.on_a = from == 0 ? p : hit->point;
  sample.on_b = from == 0 ? hit->point : p;
  return sample;
}

void sample_direction(const SolidBody& a, const SolidBody& b, int from, const MouthOptions& options,
                      std::vector<MouthSample>& out) {
  const SolidBody& own = side(a, b, from);
  const SolidBody& other = side(b, a, from);
  const double reach = other.radius_mm() + options.limit_mm;
  for (std::size_t i = 0; i < own.solid().arris.size(); ++i) {
    const double length = own.arc_at(i, 1) - own.arc_at(i, 0);
    if ((own.solid().arris[i] - other.centre()).norm() > reach + length) continue;
    const auto steps = static_cast<std::size_t>(std::max(1.0, std::ceil(length / options.step_mm)));
    for (std::size_t k = 0; k < steps; ++k) {
      const double t = static_cast<double>(k) / static_cast<double>(steps);
      if (const auto sample = sample_at(a, b, from, i, t, options.limit_mm)) out.push_back(*sample);
    }
  }
}

// Golden-section search along the arris, a step to each side of a sample (over corners too).
MouthSample refined(const SolidBody& a, const SolidBody& b, const MouthSample& start,
                    const MouthOptions& options) {
  const SolidBody& own = side(a, b, start.from);
  const auto at = [&](double offset) {
    const auto [segment, t] = own.place_of_arc(own.arc_at(start.segment, start.t) + offset);
    return sample_at(a, b, start.from, segment, t, options.limit_mm).value_or(start);
  };
  constexpr double kGolden = 0.6180339887498949;
  MouthSample best = start;
  double low = -options.step_mm, high = options.step_mm;
  double x = high - kGolden * (high - low), y = low + kGolden * (high - low);
  MouthSample at_x = at(x), at_y = at(y);
  for (int i = 0; i < 18; ++i) {
    if (at_x.width_mm < at_y.width_mm) {
      high = y, y = x, at_y = at_x;
      x = high - kGolden * (high - low), at_x = at(x);
    } else {
      low = x, x = y, at_x = at_y;
      y = low + kGolden * (high - low), at_y = at(y);
    }
    for (const MouthSample* candidate : {&at_x, &at_y}) {
      if (candidate->width_mm < best.width_mm) best = *candidate;
    }
  }
  return best;
}

// Arc length from a reference to here the short way round.
double wrapped(double arc, double reference, double perimeter) {
  const double d = arc - reference;
  return d - std::round(d / perimeter) * perimeter;
}

// s counted from the given sample: half the difference of both arc lengths.
void set_arc_from(const SolidBody& a, const SolidBody& b, const MouthSample& zero,
                  std::vector<MouthSample>& samples) {
  const auto arcs = [&](const MouthSample& m) {
    const double own = side(a, b, m.from).arc_at(m.segment, m.t),
                 to = side(b, a, m.from).arc_at(m.to_segment, m.to_t);
    return m.from == 0 ? std::pair(own, to) : std::pair(to, own);
  };
  const auto [a0, b0] = arcs(zero);
  for (MouthSample& m : samples) {
    const auto [on_a, on_b] = arcs(m);
    m.s_mm = (wrapped(on_a, a0, a.perimeter_mm()) - wrapped(on_b, b0, b.perimeter_mm())) / 2;
  }
}

// Where only samples from the piece that is further fall in a step, the step looks wider than it is.
void drop_lone_wide(std::vector<MouthSample>& samples) {
  std::vector<MouthSample> kept;
  for (std::size_t k = 0; k < samples.size(); ++k) {
    const MouthSample& m = samples[k];
    if (k > 0 && k + 1 < samples.size()) {
      const MouthSample &before = samples[k - 1], &after = samples[k + 1];
      const double wider = m.width_mm - std::max(before.width_mm, after.width_mm);
      if (m.from != before.from && m.from != after.from && wider > after.s_mm - before.s_mm) continue;
    }
    kept.push_back(m);
  }
  samples = std::move(kept);
}

}  // namespace

std::vector<MouthSample> mouth_along(const SolidBody& a, const SolidBody& b, const MouthOptions& options) {
  std::vector<MouthSample> raw;
  if (a.empty() || b.empty() ||
      (a.centre() - b.centre()).norm() > a.radius_mm() + b.radius_mm() + options.limit_mm) {
    return raw;
  }
  sample_direction(a, b, 0, options, raw);
  sample_direction(a, b, 1, options, raw);
  if (raw.empty()) return raw;
  const auto narrower = [](const MouthSample& x, const MouthSample& y) { return x.width_mm < y.width_mm; };
  const auto tightest = std::min_element(raw.begin(), raw.end(), narrower);
  *tightest = refined(a, b, *tightest, options);
  set_arc_from(a, b, MouthSample(*tightest), raw);
  std::map<long, MouthSample> steps;  // counted from the narrowest place, so the same from both sides
  for (const MouthSample& m : raw) {
    const auto [place, is_new] = steps.try_emplace(std::lround(m.s_mm / options.step_mm), m);
    if (!is_new && m.width_mm < place->second.width_mm) place->second = m;
  }
  std::vector<MouthSample> out;
  for (const auto& [step, m] : steps) out.push_back(m);
  drop_lone_wide(out);
  const double start = out.front().s_mm;
  for (MouthSample& m : out) m.s_mm -= start;
  return out;
}

std::vector<MouthSample> mouth_along(const PieceSolid& a, const PieceSolid& b, const MouthOptions& options) {
  return mouth_along(SolidBody(a), SolidBody(b), options);
}

std::optional<MouthSummary> summarise_mouth(const std::vector<MouthSample>& samples, double smallest_fill_mm,
                                            const MouthOptions& options) {
  if (samples.empty()) return std::nullopt;
  MouthSummary out;
  out.narrowest_mm = samples[0].width_mm;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    if (samples[i].width_mm < out.narrowest_mm)
      out.narrowest_mm = samples[i].width_mm, out.narrowest_sample = i;
    if (samples[i].third_nearer || samples[i].width_mm > options.limit_mm) continue;
    out.length_mm += options.step_mm;
    if (samples[i].width_mm < smallest_fill_mm) out.tight_length_mm += options.step_mm;
  }
  out.at = (samples[out.narrowest_sample].on_a + samples[out.narrowest_sample].on_b) / 2;
  return out;
}

std::vector<std::pair<geometry::TileIndex, geometry::TileIndex>> candidate_neighbours(
    const geometry::IndexedVector<geometry::TileIndex, SolidBody>& bodies, double reach_mm) {
  std::vector<std::pair<geometry::TileIndex, geometry::TileIndex>> out;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    for (std::size_t j = i + 1; j < bodies.size(); ++j) {
      const SolidBody& a = bodies[geometry::TileIndex(i)];
      const SolidBody& b = bodies[geometry::TileIndex(j)];
      if (a.empty() || b.empty()) continue;
      const double reach = a.radius_mm() + b.radius_mm() + reach_mm;
      if ((a.centre() - b.centre()).squaredNorm() <= reach * reach)
        out.emplace_back(geometry::TileIndex(i), geometry::TileIndex(j));
    }
  }
  return out;
}

std::vector<ShellSeam> mouths_of_shell(const geometry::IndexedVector<geometry::TileIndex, SolidBody>& bodies,
                                       const MouthOptions& options, int threads) {
  const auto pairs = candidate_neighbours(bodies, options.limit_mm);
  std::vector<std::vector<geometry::TileIndex>> near(bodies.size());
  for (const auto& [a, b] : pairs) {
    near[a.value].push_back(b);
    near[b.value].push_back(a);
  }
  std::vector<std::vector<MouthSample>> samples(pairs.size());
  core::parallel_for(pairs.size(), threads, [&](std::size_t k) {
    const auto [a, b] = pairs[k];
    samples[k] = mouth_along(bodies[a], bodies[b], options);
    for (MouthSample& m : samples[k]) {
      const geometry::TileIndex own = m.from == 0 ? a : b;
      const Vector3d& p = m.from == 0 ? m.on_a : m.on_b;
      for (const geometry::TileIndex c : near[own.value]) {
        if (c == a || c == b || m.third_nearer || m.width_mm <= 0) continue;
        m.third_nearer = bodies[c].nearest(p, m.width_mm).has_value();
      }
    }
  });
  std::vector<ShellSeam> seams;
  for (std::size_t k = 0; k < pairs.size(); ++k) {
    if (!samples[k].empty()) seams.push_back({pairs[k].first, pairs[k].second, std::move(samples[k])});
  }
  return seams;
}

}  // namespace interstice::solid
