#include "edges/wall_slope.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "core/median.h"

namespace interstice::edges {
namespace {

constexpr double kDegree = std::numbers::pi / 180;

// Grids: the bevel about the plan, four standard deviations either way; the depth beyond the form.
constexpr int kBevels = 121, kDepths = 41;
constexpr double kBevelStep_deg = 0.1, kDepthStep_mm = 0.1, kFirstDepth_mm = -1.5;
using Density = std::array<double, kBevels>;
using DepthDensity = std::array<double, kDepths>;

double bevel_at(int i) {
  return kBevelStep_deg * (i - kBevels / 2);
}
double depth_at(int i) {
  return kFirstDepth_mm + kDepthStep_mm * i;
}

constexpr double kMeasuredShare = 0.5;  // of the plan's uncertainty, from which a wall counts as measured
constexpr double kRight = 0.6;          // share of the readings that show the foot
// Density of the others over the peak of the right ones: a window of about 2 mm against a peak of 0.1.
constexpr double kElsewhere = 0.1;
// Readings of one photo along a side err alike (arris, pose, shade): together they count as two.
constexpr double kMostOfAPhoto = 2;
constexpr std::size_t kLeastReadings = 2;  // of a side: one alone may be anything
constexpr std::size_t kStretchPoints = 8;  // 6 mm of a side, over which its bevel is one
constexpr double kFootDepth_mm = 0.0;      // before the bowl tells
constexpr double kLeastDepthSd_mm = 0.25;  // the form's own
constexpr std::size_t kLeastSides = 8;     // to learn the depth and the spreads from
constexpr double kSideAstray = 0.05;       // sides whose readings all show something else
// Arrises known to some hundredths, planes to a hundredth of their slope: over a wall's height a sixth of a
// degree.
constexpr double kLeastSd_deg = 0.15;

double squared(double x) {
  return x * x;
}

struct Prior {
  double depth_mm = kFootDepth_mm, depth_sd_mm = kFootDepthSd_mm;
};

// What the readings of one stretch say.
struct StretchLikelihood {
  std::size_t piece = 0, side = 0, stretch = 0;
  Density bevel{};   // sums to 1
  double share = 1;  // of it, for what it tells of the whole side
  double depth_mm = 0;
};

double mean_of(const Density& p) {
  double sum = 0;
  for (int i = 0; i < kBevels; ++i) sum += p[static_cast<std::size_t>(i)] * bevel_at(i);
  return sum;
}

double sd_of(const Density& p) {
  const double mean = mean_of(p);
  double sum = 0;
  for (int i = 0; i < kBevels; ++i) sum += p[static_cast<std::size_t>(i)] * squared(bevel_at(i) - mean);
  return std::sqrt(sum);
}

void normalise(Density& p) {
  double sum = 0;
  for (const double x : p) sum += x;
  for (double& x : p) x /= sum;
}

Density normal_density(double sd) {
  Density p;
  for (int i = 0; i < kBevels; ++i)
    p[static_cast<std::size_t>(i)] = std::exp(-0.5 * squared(bevel_at(i) / sd));
  normalise(p);
  return p;
}

Density product(const Density& a, const Density& b) {
  Density out;
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = a[i] * b[i];
  normalise(out);
  return out;
}

// Spread by a normal deviate.
Density smeared(const Density& p, double sd) {
  std::array<double, kBevels> weight;
  for (int d = 0; d < kBevels; ++d)
    weight[static_cast<std::size_t>(d)] = std::exp(-0.5 * squared(d * kBevelStep_deg / sd));
  Density out{};
  for (int i = 0; i < kBevels; ++i) {
    for (int j = 0; j < kBevels; ++j)
      out[static_cast<std::size_t>(j)] +=
          p[static_cast<std::size_t>(i)] * weight[static_cast<std::size_t>(std::abs(i - j))];
  }
  normalise(out);
  return out;
}

// Log likelihood of one reading over both grids, times its share of a photo.
void add_reading(const FootReading& reading, double planned_deg, double share,
                 std::vector<double>& log_density) {
  for (int i = 0; i < kBevels; ++i) {
    const double over = reading.slope - std::tan((planned_deg + bevel_at(i)) * kDegree);
    for (int k = 0; k < kDepths; ++k) {
      const double foot = (reading.depth_mm + depth_at(k)) * over;
      double off = std::abs(reading.offsets_mm.front() - foot);
      for (const double x : reading.offsets_mm) off = std::min(off, std::abs(x - foot));
      const double right = std::exp(-0.5 * squared(off / reading.sd_mm));
      log_density[static_cast<std::size_t>(i * kDepths + k)] +=
          share * std::log(kRight * right + (1 - kRight) * kElsewhere);
    }
  }
}

// What readings of one stretch say of its bevel, the depth taken from the prior.
StretchLikelihood likelihood_of(const std::vector<const FootReading*>& readings, double planned_deg,
                                const Prior& prior) {
  std::map<geometry::PhotoIndex, double> of_photo;
  for (const FootReading* r : readings) of_photo[r->photo] += 1;
  std::vector<double> log_density(static_cast<std::size_t>(kBevels * kDepths), 0);
  for (const FootReading* r : readings)
    add_reading(*r, planned_deg, std::min(1.0, kMostOfAPhoto / of_photo[r->photo]), log_density);
  for (std::size_t c = 0; c < log_density.size(); ++c) {
    log_density[c] -=
        0.5 * squared((depth_at(static_cast<int>(c) % kDepths) - prior.depth_mm) / prior.depth_sd_mm);
  }
  const double most = *std::max_element(log_density.begin(), log_density.end());
  StretchLikelihood out;
  double sum = 0;
  for (std::size_t c = 0; c < log_density.size(); ++c) {
    const double p = std::exp(log_density[c] - most);
    out.bevel[c / kDepths] += p;
    out.depth_mm += p * depth_at(static_cast<int>(c) % kDepths);
    sum += p;
  }
  out.depth_mm /= sum;
  normalise(out.bevel);
  return out;
}

using Sides = geometry::IndexedVector<geometry::TileIndex, std::vector<WallSide>>;

std::vector<StretchLikelihood> all_likelihoods(const Sides& sides, double planned_deg, const Prior& prior) {
  std::vector<StretchLikelihood> out;
  for (std::size_t t = 0; t < sides.size(); ++t) {
    for (std::size_t k = 0; k < sides[geometry::TileIndex(t)].size(); ++k) {
      if (sides[geometry::TileIndex(t)][k].readings.size() < kLeastReadings) continue;
      std::map<std::size_t, std::vector<const FootReading*>> stretches;
      for (const FootReading& r : sides[geometry::TileIndex(t)][k].readings)
        stretches[r.at / kStretchPoints].push_back(&r);
      // The readings of one photo along a side err alike: together they count as two for the side.
      const double share = std::min(1.0, kMostOfAPhoto / static_cast<double>(stretches.size()));
      for (const auto& [stretch, readings] : stretches) {
        out.push_back(likelihood_of(readings, planned_deg, prior));
        StretchLikelihood& l = out.back();
        l.piece = t, l.side = k, l.stretch = stretch, l.share = share;
      }
    }
  }
  return out;
}

bool tells(const StretchLikelihood& l) {
  return sd_of(product(l.bevel, normal_density(kPlannedBevelSd_deg))) <= kMeasuredShare * kPlannedBevelSd_deg;
}

// The depth from the sides whose bevel is known well.
Prior learnt_depth(const std::vector<StretchLikelihood>& all) {
  std::vector<double> depths;
  for (const StretchLikelihood& l : all) {
    if (tells(l)) depths.push_back(l.depth_mm);
  }
  if (depths.size() < kLeastSides) return {};
  Prior out;
  out.depth_mm = core::median(depths);
  out.depth_sd_mm = std::max(kLeastDepthSd_mm, core::robust_sd_about(std::move(depths), out.depth_mm));
  return out;
}

// How much bevels differ from piece to piece, from side to side of a piece and along a side, degrees.
struct Spread {
  double piece, side, waver;
};

// A share of all stretches and sides shows something else all along.
Density with_astray(Density p) {
  for (double& x : p) x = (1 - kSideAstray) * x + kSideAstray / kBevels;
  return p;
}

// A stretch's message to its side, before it wavers.
Density shared_part(const StretchLikelihood& l) {
  Density p = l.bevel;
  const double most = *std::max_element(p.begin(), p.end());
  for (double& x : p) x = std::pow(std::max(x / most, 1e-12), l.share);
  normalise(p);
  return with_astray(p);
}

Density uniform() {
  Density p;
  p.fill(1.0 / kBevels);
  return p;
}

// One side: its stretches' messages and what they say together.
struct SideMessages {
  std::size_t piece = 0, side = 0;
  std::vector<const StretchLikelihood*> stretches;
  std::vector<Density> messages;
  Density together = uniform();
  double log_evidence = 0;
};

std::vector<SideMessages> messages_of(const std::vector<StretchLikelihood>& all, double waver_deg) {
  std::vector<SideMessages> out;
  for (const StretchLikelihood& l : all) {
    if (out.empty() || out.back().piece != l.piece || out.back().side != l.side) {
      out.emplace_back();
      out.back().piece = l.piece, out.back().side = l.side;
    }
    SideMessages& side = out.back();
    side.stretches.push_back(&l);
    side.messages.push_back(smeared(shared_part(l), waver_deg));
    double sum = 0;
    for (std::size_t i = 0; i < side.together.size(); ++i)
      sum += side.together[i] *= side.messages.back()[i] * kBevels;
    side.log_evidence += std::log(sum);
    normalise(side.together);
  }
  return out;
}

// What every side says of its piece: its stretches may all have gone astray, and it may differ from the piece.
std::vector<Density> to_pieces(const std::vector<SideMessages>& sides, double side_deg) {
  std::vector<Density> out;
  for (const SideMessages& s : sides) out.push_back(smeared(with_astray(s.together), side_deg));
  return out;
}

// Log likelihood of all sides together. `to_piece`: of every side.
double log_likelihood(const std::vector<SideMessages>& sides, const std::vector<Density>& to_piece,
                      double piece_deg) {
  const Density prior = normal_density(piece_deg);
  double out = 0;
  for (std::size_t i = 0; i < sides.size();) {
    Density p = prior;
    for (const std::size_t piece = sides[i].piece; i < sides.size() && sides[i].piece == piece; ++i) {
      out += sides[i].log_evidence;
      for (std::size_t k = 0; k < p.size(); ++k) p[k] *= to_piece[i][k] * kBevels;
    }
    double sum = 0;
    for (const double x : p) sum += x;
    out += std::log(sum);
  }
  return out;
}

// The likeliest of a few spreads. With few stretches that share a piece the plan's stands, in equal parts.
Spread learnt_spread(const std::vector<StretchLikelihood>& all) {
  const double part = kPlannedBevelSd_deg / std::numbers::sqrt3;
  Spread best{part, part, part};
  std::size_t pairs = 0;
  for (std::size_t i = 1; i < all.size(); ++i) pairs += all[i].piece == all[i - 1].piece ? 1 : 0;
  if (pairs < kLeastSides) return best;
  double most = -std::numeric_limits<double>::infinity();
  for (const double waver : {0.1, 0.5, part, kPlannedBevelSd_deg, 2.0}) {
    const std::vector<SideMessages> sides = messages_of(all, waver);
    for (const double side : {0.25, 0.5, part, kPlannedBevelSd_deg}) {
      const std::vector<Density> to_piece = to_pieces(sides, side);
      for (const double piece : {0.5, part, kPlannedBevelSd_deg, 2.0}) {
        const double x = log_likelihood(sides, to_piece, piece);
        if (x > most) most = x, best = {piece, side, waver};
      }
    }
  }
  return best;
}

WallSlope slope_of(const Density& p, double planned_deg) {
  WallSlope out;
  out.bevel_deg = planned_deg + mean_of(p);
  out.sd_deg = std::hypot(sd_of(p), kLeastSd_deg);
  out.measured = out.sd_deg <= kMeasuredShare * kPlannedBevelSd_deg;
  return out;
}

// Linear between the stretches' middles.
std::vector<WallSlope> at_points(const std::vector<WallSlope>& stretches, std::size_t points) {
  std::vector<WallSlope> out;
  for (std::size_t i = 0; i < points; ++i) {
    const double x = std::clamp((static_cast<double>(i) + 0.5) / kStretchPoints - 0.5, 0.0,
                                static_cast<double>(stretches.size() - 1));
    const auto first = static_cast<std::size_t>(x);
    const std::size_t second = std::min(first + 1, stretches.size() - 1);
    const double t = x - static_cast<double>(first);
    const WallSlope &a = stretches[first], &b = stretches[second];
    out.push_back({(1 - t) * a.bevel_deg + t * b.bevel_deg, (1 - t) * a.sd_deg + t * b.sd_deg,
                   a.measured && (b.measured || t == 0)});
  }
  return out;
}

// One side: what its piece's other sides say of it, its own readings, and each stretch against the others.
SideSlope slope_of_side(const Density& from_piece, const SideMessages* own, const Spread& spread,
                        std::size_t points, double planned_deg) {
  SideSlope out;
  static_cast<WallSlope&>(out) =
      slope_of(own != nullptr ? product(from_piece, with_astray(own->together)) : from_piece, planned_deg);
  if (points == 0) return out;
  const std::size_t count = (points + kStretchPoints - 1) / kStretchPoints;
  std::vector<WallSlope> stretches;
  for (std::size_t k = 0; k < count; ++k) {
    Density p = from_piece;
    const StretchLikelihood* here = nullptr;
    for (std::size_t j = 0; own != nullptr && j < own->stretches.size(); ++j) {
      if (own->stretches[j]->stretch == k) {
        here = own->stretches[j];
      } else {
        p = product(p, own->messages[j]);
      }
    }
    p = smeared(p, spread.waver);
    if (here != nullptr) p = product(p, with_astray(here->bevel));
    stretches.push_back(slope_of(p, planned_deg));
  }
  out.at = at_points(stretches, points);
  return out;
}

}  // namespace

geometry::IndexedVector<geometry::TileIndex, std::vector<SideSlope>> wall_slopes(const Sides& sides,
                                                                                 double planned_deg) {
  const Prior depth = learnt_depth(all_likelihoods(sides, planned_deg, {}));
  const std::vector<StretchLikelihood> all = all_likelihoods(sides, planned_deg, depth);
  const Spread spread = learnt_spread(all);
  const std::vector<SideMessages> seen = messages_of(all, spread.waver);
  const std::vector<Density> to_piece = to_pieces(seen, spread.side);
  geometry::IndexedVector<geometry::TileIndex, std::vector<SideSlope>> out(sides.size());
  for (std::size_t t = 0; t < sides.size(); ++t) {
    const std::vector<WallSide>& of_piece = sides[geometry::TileIndex(t)];
    for (std::size_t k = 0; k < of_piece.size(); ++k) {
      Density p = normal_density(spread.piece);
      const SideMessages* own = nullptr;
      for (std::size_t i = 0; i < seen.size(); ++i) {
        if (seen[i].piece != t) continue;
        if (seen[i].side == k) {
          own = &seen[i];
        } else {
          p = product(p, to_piece[i]);
        }
      }
      out[geometry::TileIndex(t)].push_back(
          slope_of_side(smeared(p, spread.side), own, spread, of_piece[k].points.size(), planned_deg));
    }
  }
  return out;
}

}  // namespace interstice::edges
