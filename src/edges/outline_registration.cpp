#include "edges/outline_registration.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/median.h"

namespace interstice::edges {

using Eigen::Vector2d;

namespace {

constexpr double kContrastStep_mm = 0.1;  // of the tabulated edge contrast
constexpr double kBox_mm = 0.6;           // brightness on either side of an edge is a mean over this
constexpr float kMostContrast = 60;       // grey levels: one strong edge must not outvote many weak ones
constexpr double kContrastAcross_mm = 1.0;
constexpr double kShiftCosine = 0.28;
constexpr double kDarkOutside = 1.0, kBrightOutside = 0.5;  // gaps are mostly darker than faces
// Wood of the face lies in the plane and looks alike in all views, grain and all; what lies behind an edge
// shifts from view to view. The disagreement of the views just outside less that just inside is worth as much
// as contrast.
constexpr double kParallax = 1.5, kParallaxBox_mm = 1.0;
constexpr double kShiftSd_mm = 1.5, kTurnSd = 0.04, kGrowthSd = 0.4;

// Edge contrast along the normal of one outline point, mean over the views; index = (x + reach) / step.
struct Contrast {
  std::vector<float> falls, rises;  // outside darker, outside brighter
  std::vector<float> parallax;      // views disagree more outside than inside, grey levels
  std::vector<float>
      disagreement;           // of the views at each offset, grey levels; empty with fewer than two views
  std::vector<float> unlike;  // brightness against the face's mean, grey levels; empty likewise
};

// What brings the brightness of one piece's face to the same level in every photo.
struct Gains {
  geometry::IndexedVector<geometry::PhotoIndex, float> factor;  // 0 where a photo does not show the face
  float level = 0;                                              // the common brightness
};

// Views onto the wall show two edges; views over the piece's own face show one.
double view_weight(double slope) {
  if (slope < -0.1) return 1.0;
  return slope < 0.3 ? 0.3 : 0.15;
}

// From the mean brightness of the face round its middle in every photo.
Gains face_gains(const scan::Scan& scan,
                 const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                 const geometry::PlaneFrame& frame, const geometry::Polygon& outline) {
  Gains gains{geometry::IndexedVector<geometry::PhotoIndex, float>(scan.photos.size(), 0.0f), 0};
  const Vector2d centre = geometry::centroid(outline);
  double sum = 0;
  int n = 0;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    if (frame.normal.dot((photo.centre() - frame.origin).normalized()) < kShiftCosine) continue;
    float mean = 0;
    for (const Vector2d& p : outline) {
      const Vector2d inner = centre + 0.5 * (p - centre);
      const Vector2d q = pictures[geometry::PhotoIndex(i)].from_photo(photo.project(frame.lift(inner)));
      mean += surface::sample(pictures[geometry::PhotoIndex(i)].grey, q.x(), q.y()) /
              static_cast<float>(outline.size());
    }
    if (!(mean > 1)) continue;
    gains.factor[geometry::PhotoIndex(i)] = mean;
    sum += static_cast<double>(mean);
    ++n;
  }
  gains.level = n > 0 ? static_cast<float>(sum / n) : 0.0f;
  for (float& g : gains.factor) {
    if (g > 0) g = gains.level / g;
  }
  return gains;
}

// Mean over the views of the distance from their median, at every offset.
std::vector<float> disagreement(const std::vector<std::vector<float>>& profiles) {
  std::vector<float> out(profiles.front().size(), 0), values(profiles.size());
  for (std::size_t k = 0; k < out.size(); ++k) {
    for (std::size_t v = 0; v < profiles.size(); ++v) values[v] = profiles[v][k];
    const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), mid, values.end());
    const float median = *mid;
    for (const float x : values)
      out[k] += std::min(std::abs(x - median), kMostContrast) / static_cast<float>(values.size());
  }
  return out;
}

void add_parallax(const std::vector<std::vector<float>>& profiles, float level, std::size_t box,
                  Contrast& c) {
  if (profiles.size() < 2) return;
  const std::vector<float> d = disagreement(profiles);
  c.disagreement.assign(d.begin() + static_cast<std::ptrdiff_t>(box),
                        d.begin() + static_cast<std::ptrdiff_t>(box + c.parallax.size()));
  for (std::size_t k = 0; k < c.parallax.size(); ++k) {
    float mean = 0;
    for (const auto& profile : profiles) mean += profile[k + box] / static_cast<float>(profiles.size());
    c.unlike.push_back(std::min(std::abs(mean - level), kMostContrast));
  }
  const auto reach =
      std::min(box * 2, static_cast<std::size_t>(std::lround(kParallaxBox_mm / kContrastStep_mm)));
  for (std::size_t k = 0; k < c.parallax.size(); ++k) {
    const std::size_t at = k + box;  // the profile starts one box before the first offset
    float inside = 0, outside = 0;
    int n_in = 0, n_out = 0;
    for (std::size_t j = 1; j <= reach; ++j) {
      if (at >= j) inside += d[at - j], ++n_in;
      if (at + j < d.size()) outside += d[at + j], ++n_out;
    }
    if (n_in > 0 && n_out > 0) {
      c.parallax[k] = outside / static_cast<float>(n_out) - inside / static_cast<float>(n_in);
    }
  }
}

Contrast contrast_of(const scan::Scan& scan,
                     const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                     const geometry::PlaneFrame& frame, const Gains& gains, const Vector2d& p,
                     const Vector2d& n, double reach, const Surroundings& around) {
  const auto count = static_cast<std::size_t>(std::lround(2 * reach / kContrastStep_mm)) + 1;
  const auto box = static_cast<std::size_t>(std::lround(kBox_mm / kContrastStep_mm));
  Contrast c{
      std::vector<float>(count, 0), std::vector<float>(count, 0), std::vector<float>(count, 0), {}, {}};
  std::vector<float> profile(count + 2 * box), sums(profile.size() + 1);
  std::vector<std::vector<float>> profiles;
  double weights = 0;
  for (const OutlineView& view : views_of_point(scan, pictures, frame, p, n, kShiftCosine, around)) {
    read_profile(pictures[view.photo], view, -reach - static_cast<double>(box) * kContrastStep_mm,
                 kContrastStep_mm, kContrastAcross_mm, profile);
    sums[0] = 0;
    for (std::size_t k = 0; k < profile.size(); ++k) sums[k + 1] = sums[k] + profile[k];
    if (!std::isfinite(sums.back())) continue;
    if (const float gain = gains.factor[view.photo]; gain > 0) {
      profiles.push_back(profile);
      for (float& x : profiles.back()) x *= gain;
    }
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
  add_parallax(profiles, gains.level, box, c);
  return c;
}

struct Table {  // contrast for all points of an outline
  geometry::Polygon outline;
  std::vector<Vector2d> normals;
  std::vector<Contrast> contrast;
  std::vector<std::vector<double>>
      worth;  // what an edge at each offset counts: contrast and parallax together
  double reach = 0;

  double score(std::size_t i, double x) const {
    const double k = (x + reach) / kContrastStep_mm;
    const std::vector<double>& v = worth[i];
    if (k < 0 || k >= static_cast<double>(v.size() - 1)) return 0;
    const auto j = static_cast<std::size_t>(k);
    const double f = k - static_cast<double>(j);
    return (1 - f) * v[j] + f * v[j + 1];
  }
};

std::vector<double> worth_of(const Contrast& c) {
  std::vector<double> worth(c.falls.size());
  for (std::size_t k = 0; k < worth.size(); ++k) {
    worth[k] = kDarkOutside * static_cast<double>(c.falls[k]) +
               kBrightOutside * static_cast<double>(c.rises[k]) +
               kParallax * static_cast<double>(c.parallax[k]);
  }
  return worth;
}

Table tabulate(const scan::Scan& scan,
               const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
               const geometry::PlaneFrame& frame, geometry::Polygon outline, double reach,
               const Surroundings& around) {
  Table t;
  t.outline = std::move(outline);
  t.normals = geometry::outward_normals(t.outline);
  t.reach = reach;
  const Gains gains = face_gains(scan, pictures, frame, t.outline);
  for (std::size_t i = 0; i < t.outline.size(); ++i) {
    t.contrast.push_back(
        contrast_of(scan, pictures, frame, gains, t.outline[i], t.normals[i], reach, around));
    t.worth.push_back(worth_of(t.contrast.back()));
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
        for (double growth = -options.growth_mm; growth <= options.growth_mm + 1e-9;
             growth += options.growth_mm / 2) {
          all.push_back(offer({{dx, dy}, turn, growth}));
        }
      }
    }
  }
  s.median_score = core::median(std::move(all));
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

// What the face itself shows of disagreement between views and of difference from its mean (grain): more is
// not wood of this face.
struct WoodLimits {
  double disagreement = 0, unlike = 0;
};

// The price of an outline at each offset of one point for what it takes in that is no wood of this face and
// for what it leaves out within reach that is.
std::vector<double> region_price(const Contrast& c, const WoodLimits& wood) {
  constexpr double kPerMm =
      2.0;  // grey levels of contrast for a grey level of disagreement over a millimetre
  constexpr double kUnlike = 0.5;        // brightness alone is weaker evidence: grain, light falling off
  constexpr double kLeftPerMm = 8.0;     // grey levels of contrast for a millimetre of wood left out
  constexpr double kWoodReach_mm = 2.0;  // left-out wood counts this far: beyond it may be the neighbour's
  std::vector<double> price(c.falls.size(), 0);
  if (c.disagreement.empty()) return price;
  const auto reach = static_cast<std::size_t>(std::lround(kWoodReach_mm / kContrastStep_mm));
  double taken = 0;
  for (std::size_t k = 0; k < price.size(); ++k) {
    double left = 0;
    for (std::size_t j = k + 1; j <= std::min(k + reach, price.size() - 1); ++j) {
      if (static_cast<double>(c.disagreement[j]) > wood.disagreement ||
          static_cast<double>(c.unlike[j]) > wood.unlike) {
        break;  // only wood that joins on
      }
      left += kLeftPerMm;
    }
    taken += kPerMm * std::max(0.0, static_cast<double>(c.disagreement[k]) - wood.disagreement) +
             kPerMm * kUnlike * std::max(0.0, static_cast<double>(c.unlike[k]) - wood.unlike);
    price[k] = kContrastStep_mm * (taken + left);
  }
  return price;
}

double quantile(std::vector<float>& x, double q) {
  if (x.empty()) return 0;
  const auto at = x.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(x.size() - 1));
  std::nth_element(x.begin(), at, x.end());
  return static_cast<double>(*at);
}

// Twice the median disagreement, and the range of nine tenths of the brightness, of the innermost quarter of
// every point's reach.
WoodLimits wood_limits(const Table& t) {
  std::vector<float> disagreement, unlike;
  for (const Contrast& c : t.contrast) {
    const auto quarter = static_cast<std::ptrdiff_t>(c.disagreement.size() / 4);
    disagreement.insert(disagreement.end(), c.disagreement.begin(), c.disagreement.begin() + quarter);
    unlike.insert(unlike.end(), c.unlike.begin(), c.unlike.begin() + quarter);
  }
  return {2.0 * quantile(disagreement, 0.5) + 0.5, 1.2 * quantile(unlike, 0.9) + 1.0};
}

// Closed path of offsets x_i with the largest sum of contrast, less a price for bending.
std::vector<double> best_path(const Table& t, double reach) {
  const int half = static_cast<int>(std::lround(reach / kContrastStep_mm));
  const int width = 2 * half + 1;
  const std::size_t n = t.outline.size();
  constexpr double kShiftBend = 0.8;  // grey levels a step of 0.1 mm from one point to the next
  constexpr double kShiftFar = 0.5;   // grey levels at one millimetre from the placed outline
  std::vector<std::vector<double>> unary(n, std::vector<double>(static_cast<std::size_t>(width)));
  const WoodLimits wood = wood_limits(t);
  for (std::size_t i = 0; i < n; ++i) {
    const std::vector<double> price = region_price(t.contrast[i], wood);
    for (int k = 0; k < width; ++k) {
      const double x = (k - half) * kContrastStep_mm;
      const auto at = static_cast<std::size_t>(std::lround((x + t.reach) / kContrastStep_mm));
      unary[i][static_cast<std::size_t>(k)] = t.score(i, x) - kShiftFar * x * x - price[at];
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
        const double v = value[static_cast<std::size_t>(j)] - kShiftBend * (k - j) * (k - j);
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
    if (lap >= n) path[lap - n] = (k - half) * kContrastStep_mm;
    k = from[lap][static_cast<std::size_t>(k)];
  }
  return path;
}

}  // namespace

PlacedOutline place_outline(const scan::Scan& scan,
                            const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                            const geometry::PlaneFrame& frame, const geometry::Polygon& planned,
                            const PlaceOptions& options) {
  const Vector2d centre = geometry::centroid(planned);
  const Table coarse = tabulate(scan, pictures, frame, geometry::resampled(planned, 2.0),
                                options.shift_mm + 2.0, options.around);
  const Search search = search_placement(coarse, centre, options);
  geometry::Polygon placed;
  const Eigen::Rotation2Dd turn(search.best.turn);
  for (const Vector2d& p : planned) placed.push_back(centre + search.best.shift + turn * (p - centre));
  placed = geometry::resampled(geometry::grown(placed, search.best.growth), options.spacing_mm);
  PlacedOutline out;
  out.shift = search.best.shift;
  out.turn = search.best.turn;
  out.background = search.median_score;
  // First far, for shapes cut unlike the plan; then near, along the normals of the shape found.
  for (const double reach : {options.path_mm, options.path_mm / 2, options.path_mm / 4}) {
    const Table fine = tabulate(scan, pictures, frame, placed, reach + 0.2, options.around);
    const std::vector<double> path = best_path(fine, reach);
    out.support = 0;
    for (std::size_t i = 0; i < placed.size(); ++i) {
      placed[i] += path[i] * fine.normals[i];
      out.support += fine.score(i, path[i]) / static_cast<double>(placed.size());
    }
    if (reach > options.path_mm / 3) placed = geometry::resampled(placed, options.spacing_mm);
  }
  out.outline = std::move(placed);
  return out;
}

}  // namespace interstice::edges
