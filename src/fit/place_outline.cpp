#include "fit/place_outline.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice {

using Eigen::Vector2d;

namespace {

constexpr double kStep_mm = 0.1;        // of the tabulated edge contrast
constexpr double kBox_mm = 0.6;         // brightness on either side of an edge is a mean over this
constexpr float kMostContrast = 60;     // grey levels: one strong edge must not outvote many weak ones
constexpr double kAcross_mm = 1.0;
constexpr double kLeastCosine = 0.45;
constexpr double kDarkOutside = 1.0, kBrightOutside = 0.5;  // gaps are mostly darker than faces
constexpr double kShiftSd_mm = 1.5, kTurnSd = 0.04, kGrowthSd = 0.4;

// Edge contrast along the normal of one outline point, mean over the views; index = (x + reach) / step.
struct Contrast {
  std::vector<float> falls, rises;  // outside darker, outside brighter
};

// Views onto the wall show two edges; views over the piece's own face show one.
double view_weight(double slope) {
  if (slope < -0.1) return 1.0;
  return slope < 0.3 ? 0.6 : 0.4;
}

Contrast contrast_of(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures, const PlaneFrame& frame,
                     const Vector2d& p, const Vector2d& n, double reach) {
  const auto count = static_cast<std::size_t>(std::lround(2 * reach / kStep_mm)) + 1;
  const auto box = static_cast<std::size_t>(std::lround(kBox_mm / kStep_mm));
  Contrast c{std::vector<float>(count, 0), std::vector<float>(count, 0)};
  std::vector<float> profile(count + 2 * box), sums(profile.size() + 1);
  double weights = 0;
  for (const OutlineView& view : views_of_point(scan, pictures, frame, p, n, kLeastCosine)) {
    read_profile(pictures[view.photo], view, -reach - static_cast<double>(box) * kStep_mm, kStep_mm, kAcross_mm, profile);
    sums[0] = 0;
    for (std::size_t k = 0; k < profile.size(); ++k) sums[k + 1] = sums[k] + profile[k];
    if (!std::isfinite(sums.back())) continue;
    const double w = view_weight(view.slope) * view.cosine;
    weights += w;
    for (std::size_t k = 0; k < count; ++k) {
      const float inside = sums[k + box] - sums[k], outside = sums[k + 2 * box] - sums[k + box];
      const float step = (outside - inside) / static_cast<float>(box);
      const float size = static_cast<float>(w) * std::min(std::abs(step), kMostContrast);
      (step < 0 ? c.falls : c.rises)[k] += size;
    }
  }
  if (weights > 0) {
    for (std::size_t k = 0; k < count; ++k) {
      c.falls[k] /= static_cast<float>(weights);
      c.rises[k] /= static_cast<float>(weights);
    }
  }
  return c;
}

struct Table {  // contrast for all points of an outline
  Polygon outline;
  std::vector<Vector2d> normals;
  std::vector<Contrast> contrast;
  double reach = 0;

  double score(std::size_t i, double x) const {
    const double k = (x + reach) / kStep_mm;
    if (k < 0 || k >= static_cast<double>(contrast[i].falls.size() - 1)) return 0;
    const auto j = static_cast<std::size_t>(k);
    const double f = k - static_cast<double>(j);
    const auto at = [&](const std::vector<float>& v) {
      return (1 - f) * static_cast<double>(v[j]) + f * static_cast<double>(v[j + 1]);
    };
    return kDarkOutside * at(contrast[i].falls) + kBrightOutside * at(contrast[i].rises);
  }
};

Table tabulate(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures, const PlaneFrame& frame,
               Polygon outline, double reach) {
  Table t;
  t.outline = std::move(outline);
  t.normals = outward_normals(t.outline);
  t.reach = reach;
  for (std::size_t i = 0; i < t.outline.size(); ++i) {
    t.contrast.push_back(contrast_of(scan, pictures, frame, t.outline[i], t.normals[i], reach));
  }
  return t;
}

struct Placement {
  Vector2d shift{0, 0};
  double turn = 0, growth = 0;
};

double placement_score(const Table& t, const Vector2d& centre, const Placement& p) {
  double sum = 0;
  for (std::size_t i = 0; i < t.outline.size(); ++i) {
    const Vector2d arm = t.outline[i] - centre;
    const Vector2d moved = p.shift + p.turn * Vector2d(-arm.y(), arm.x());
    sum += t.score(i, moved.dot(t.normals[i]) + p.growth);
  }
  return sum / static_cast<double>(t.outline.size());
}

// One grey level for every standard deviation squared away from the plan.
double prior(const Placement& p) {
  return p.shift.squaredNorm() / (kShiftSd_mm * kShiftSd_mm) + p.turn * p.turn / (kTurnSd * kTurnSd) +
         p.growth * p.growth / (kGrowthSd * kGrowthSd);
}

struct Search {
  Placement best;
  double best_score = -1e9, median_score = 0;
};

Search search_placement(const Table& t, const Vector2d& centre, const PlaceOptions& options) {
  Search s;
  std::vector<double> all;
  const double turn_limit = options.turn_deg * std::numbers::pi / 180;
  const auto offer = [&](const Placement& p) {
    const double raw = placement_score(t, centre, p);
    if (raw - prior(p) > s.best_score) {
      s.best_score = raw - prior(p);
      s.best = p;
    }
    return raw;
  };
  for (double dx = -options.shift_mm; dx <= options.shift_mm + 1e-9; dx += 0.5) {
    for (double dy = -options.shift_mm; dy <= options.shift_mm + 1e-9; dy += 0.5) {
      for (double turn = -turn_limit; turn <= turn_limit + 1e-9; turn += turn_limit / 5) {
        for (double growth = -options.growth_mm; growth <= options.growth_mm + 1e-9; growth += options.growth_mm / 2) {
          all.push_back(offer({{dx, dy}, turn, growth}));
        }
      }
    }
  }
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  s.median_score = all[all.size() / 2];
  for (double step = 0.25; step > 0.04; step /= 2) {
    for (bool moved = true; moved;) {
      const Placement from = s.best;
      const double before = s.best_score;
      for (const double d : {-step, step}) {
        offer({from.shift + Vector2d(d, 0), from.turn, from.growth});
        offer({from.shift + Vector2d(0, d), from.turn, from.growth});
        offer({from.shift, from.turn + d / 20, from.growth});
        offer({from.shift, from.turn, from.growth + d});
      }
      moved = s.best_score > before + 1e-9;
    }
  }
  return s;
}

// Closed path of offsets x_i with the largest sum of contrast, less a price for bending.
std::vector<double> best_path(const Table& t, double reach) {
  const int half = static_cast<int>(std::lround(reach / kStep_mm));
  const int width = 2 * half + 1;
  const std::size_t n = t.outline.size();
  constexpr double kBend = 1.5;       // grey levels a step of 0.1 mm from one point to the next
  constexpr double kFar = 2.0;        // grey levels at one millimetre from the placed outline
  std::vector<std::vector<double>> unary(n, std::vector<double>(static_cast<std::size_t>(width)));
  for (std::size_t i = 0; i < n; ++i) {
    for (int k = 0; k < width; ++k) {
      const double x = (k - half) * kStep_mm;
      unary[i][static_cast<std::size_t>(k)] = t.score(i, x) - kFar * x * x;
    }
  }
  // Twice round: the second lap starts from what the first one settled, so the ends meet.
  std::vector<double> value(static_cast<std::size_t>(width), 0), next(value.size());
  std::vector<std::vector<int>> from(2 * n, std::vector<int>(static_cast<std::size_t>(width)));
  for (std::size_t lap = 0; lap < 2 * n; ++lap) {
    for (int k = 0; k < width; ++k) {
      int best = k;
      double best_value = -1e18;
      for (int j = std::max(0, k - 3); j <= std::min(width - 1, k + 3); ++j) {
        const double v = value[static_cast<std::size_t>(j)] - kBend * (k - j) * (k - j);
        if (v > best_value) {
          best_value = v;
          best = j;
        }
      }
      next[static_cast<std::size_t>(k)] = best_value + unary[lap % n][static_cast<std::size_t>(k)];
      from[lap][static_cast<std::size_t>(k)] = best;
    }
    value.swap(next);
  }
  int k = static_cast<int>(std::max_element(value.begin(), value.end()) - value.begin());
  std::vector<double> path(n);
  for (std::size_t lap = 2 * n; lap-- > 0;) {
    if (lap >= n) path[lap - n] = (k - half) * kStep_mm;
    k = from[lap][static_cast<std::size_t>(k)];
  }
  return path;
}

std::vector<int> polarities(const Table& t, const std::vector<double>& path) {
  const std::size_t n = path.size();
  std::vector<int> out(n);
  constexpr std::size_t kHalf = 4;  // neighbours that vote: an edge keeps its sign over a few millimetres
  for (std::size_t i = 0; i < n; ++i) {
    double falls = 0, rises = 0;
    for (std::size_t d = 0; d <= 2 * kHalf; ++d) {
      const std::size_t j = (i + n + d - kHalf) % n;
      const auto k = static_cast<std::size_t>(std::lround((path[j] + t.reach) / kStep_mm));
      falls += static_cast<double>(t.contrast[j].falls[k]);
      rises += static_cast<double>(t.contrast[j].rises[k]);
    }
    out[i] = falls >= rises ? -1 : 1;
  }
  return out;
}

}  // namespace

PlacedOutline place_outline(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                            const PlaneFrame& frame, const Polygon& planned, const PlaceOptions& options) {
  const Vector2d centre = centroid(planned);
  const Table coarse = tabulate(scan, pictures, frame, resampled(planned, 2.0), options.shift_mm + 2.0);
  const Search search = search_placement(coarse, centre, options);
  Polygon placed;
  const Eigen::Rotation2Dd turn(search.best.turn);
  for (const Vector2d& p : planned) placed.push_back(centre + search.best.shift + turn * (p - centre));
  placed = resampled(grown(placed, search.best.growth), options.spacing_mm);
  const Table fine = tabulate(scan, pictures, frame, placed, options.path_mm + 0.2);
  const std::vector<double> path = best_path(fine, options.path_mm);
  PlacedOutline out;
  out.shift = search.best.shift;
  out.turn = search.best.turn;
  out.background = search.median_score;
  out.polarity = polarities(fine, path);
  for (std::size_t i = 0; i < placed.size(); ++i) {
    out.outline.push_back(placed[i] + path[i] * fine.normals[i]);
    out.support += fine.score(i, path[i]) / static_cast<double>(placed.size());
  }
  return out;
}

}  // namespace interstice
