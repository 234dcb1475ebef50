#include "edges/wall_slope.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <optional>

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
constexpr std::size_t kLeastReadings = 2;  // one alone may be anything
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

struct SideLikelihood {
  std::size_t piece = 0, side = 0;
  Density bevel{};  // sums to 1
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

// What a side's readings say of its bevel, the depth taken from the prior; empty with too few readings.
std::optional<SideLikelihood> likelihood_of(const WallSide& side, double planned_deg, const Prior& prior) {
  if (side.readings.size() < kLeastReadings) return std::nullopt;
  std::map<geometry::PhotoIndex, double> of_photo;
  for (const FootReading& r : side.readings) of_photo[r.photo] += 1;
  std::vector<double> log_density(static_cast<std::size_t>(kBevels * kDepths), 0);
  for (const FootReading& r : side.readings)
    add_reading(r, planned_deg, std::min(1.0, kMostOfAPhoto / of_photo[r.photo]), log_density);
  for (std::size_t c = 0; c < log_density.size(); ++c) {
    log_density[c] -=
        0.5 * squared((depth_at(static_cast<int>(c) % kDepths) - prior.depth_mm) / prior.depth_sd_mm);
  }
  const double most = *std::max_element(log_density.begin(), log_density.end());
  SideLikelihood out;
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

std::vector<SideLikelihood> all_likelihoods(const Sides& sides, double planned_deg, const Prior& prior) {
  std::vector<SideLikelihood> out;
  for (std::size_t t = 0; t < sides.size(); ++t) {
    for (std::size_t k = 0; k < sides[geometry::TileIndex(t)].size(); ++k) {
      auto l = likelihood_of(sides[geometry::TileIndex(t)][k], planned_deg, prior);
      if (!l) continue;
      l->piece = t;
      l->side = k;
      out.push_back(*l);
    }
  }
  return out;
}

bool tells(const SideLikelihood& l) {
  return sd_of(product(l.bevel, normal_density(kPlannedBevelSd_deg))) <= kMeasuredShare * kPlannedBevelSd_deg;
}

// The depth from the sides whose bevel is known well.
Prior learnt_depth(const std::vector<SideLikelihood>& all) {
  std::vector<double> depths;
  for (const SideLikelihood& l : all) {
    if (tells(l)) depths.push_back(l.depth_mm);
  }
  if (depths.size() < kLeastSides) return {};
  Prior out;
  out.depth_mm = core::median(depths);
  out.depth_sd_mm = std::max(kLeastDepthSd_mm, core::robust_sd_about(std::move(depths), out.depth_mm));
  return out;
}

// How much bevels differ from piece to piece and from side to side of a piece, degrees.
struct Spread {
  double piece, side;
};

// A share of all sides shows something else all along.
Density with_astray(Density p) {
  for (double& x : p) x = (1 - kSideAstray) * x + kSideAstray / kBevels;
  return p;
}

// A side's message to its piece: its readings may all have gone astray, and it may differ from the piece.
Density to_piece(const SideLikelihood& l, double side_sd) {
  return smeared(with_astray(l.bevel), side_sd);
}

// Log likelihood of all sides together.
double log_likelihood(const std::vector<SideLikelihood>& all, const std::vector<Density>& messages,
                      double piece_sd) {
  const Density prior = normal_density(piece_sd);
  double out = 0;
  for (std::size_t i = 0; i < all.size();) {
    Density p = prior;
    for (const std::size_t piece = all[i].piece; i < all.size() && all[i].piece == piece; ++i) {
      for (std::size_t k = 0; k < p.size(); ++k) p[k] *= messages[i][k];
    }
    double sum = 0;
    for (const double x : p) sum += x;
    out += std::log(sum);
  }
  return out;
}

// The likeliest of a few spreads. With few sides that share a piece the plan's stands, half and half.
Spread learnt_spread(const std::vector<SideLikelihood>& all) {
  const double half = kPlannedBevelSd_deg / std::numbers::sqrt2;
  Spread best{half, half};
  std::size_t pairs = 0;
  for (std::size_t i = 1; i < all.size(); ++i) pairs += all[i].piece == all[i - 1].piece ? 1 : 0;
  if (pairs < kLeastSides) return best;
  double most = -std::numeric_limits<double>::infinity();
  for (const double side : {0.25, 0.5, 0.75, half, kPlannedBevelSd_deg}) {
    std::vector<Density> messages;
    for (const SideLikelihood& l : all) messages.push_back(to_piece(l, side));
    for (const double piece : {0.5, 0.75, half, kPlannedBevelSd_deg, 2.0}) {
      const double x = log_likelihood(all, messages, piece);
      if (x > most) most = x, best = {piece, side};
    }
  }
  return best;
}

// One side: what its piece's other sides say of it, and its own readings.
WallSlope slope_of_side(const std::vector<SideLikelihood>& all, const std::vector<Density>& messages,
                        const Spread& spread, std::size_t piece, std::size_t side, double planned_deg) {
  Density p = normal_density(spread.piece);
  const SideLikelihood* own = nullptr;
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (all[i].piece != piece) continue;
    if (all[i].side == side) {
      own = &all[i];
    } else {
      p = product(p, messages[i]);
    }
  }
  p = smeared(p, spread.side);
  if (own != nullptr) p = product(p, with_astray(own->bevel));
  WallSlope out;
  out.bevel_deg = planned_deg + mean_of(p);
  out.sd_deg = std::min(std::hypot(sd_of(p), kLeastSd_deg), kPlannedBevelSd_deg);
  out.measured = out.sd_deg <= kMeasuredShare * kPlannedBevelSd_deg;
  return out;
}

}  // namespace

geometry::IndexedVector<geometry::TileIndex, std::vector<WallSlope>> wall_slopes(const Sides& sides,
                                                                                 double planned_deg) {
  const Prior depth = learnt_depth(all_likelihoods(sides, planned_deg, {}));
  const std::vector<SideLikelihood> all = all_likelihoods(sides, planned_deg, depth);
  const Spread spread = learnt_spread(all);
  std::vector<Density> messages;
  for (const SideLikelihood& l : all) messages.push_back(to_piece(l, spread.side));
  geometry::IndexedVector<geometry::TileIndex, std::vector<WallSlope>> out(sides.size());
  for (std::size_t t = 0; t < sides.size(); ++t) {
    for (std::size_t k = 0; k < sides[geometry::TileIndex(t)].size(); ++k)
      out[geometry::TileIndex(t)].push_back(slope_of_side(all, messages, spread, t, k, planned_deg));
  }
  return out;
}

}  // namespace interstice::edges
