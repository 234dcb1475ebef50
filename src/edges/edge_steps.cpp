#include "edges/edge_steps.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/core/hal/intrin.hpp>

#include "core/median.h"

namespace interstice::edges {

using Eigen::Vector2d;

namespace {

constexpr double kStepCosine = 0.3;
// Views with the wall hidden, down to where the footprint across the edge doubles, and onto the wall.
constexpr double kHiddenFrom = -1.5, kWallTo = 2.5;
constexpr double kLeastWindow_px = 1.2;  // half of a blurred step
constexpr double kLeastReach_px = 0.6;   // of a window, where rim and arris are seen in one
constexpr double kWallViewFactor = 1.5;  // noise of views onto the wall against the others: walls have grain
constexpr double kWallReading_px = 0.1;  // a lit wall darkens with depth, which draws its edge outward
constexpr double kSeenBlur_px = 1.1;     // of a phone picture's step after the derivative's filter
constexpr double kBlur_px = 0.8;         // of the derivative filter: about a phone picture's own blur
constexpr double kAcross_mm = 0.75;      // the spacing of points: each reads its own stretch of edge
constexpr double kLeastContrast = 5.0;   // grey levels, a few times the noise of such a mean
constexpr double kLeastOverNoise = 3.0;  // of a contrast: below, it may be what the photo shows anywhere
// Of a strong edge, or at a contrast of 30 grey levels where the noise is not known; rescaled by the residuals.
constexpr double kEdgeSd_px = 0.12;
// Of the place of a step in noise, for noise as large as the step: white noise behind the derivative's filter of
// deviation s has a slope of sqrt(3/2) / s, and the response to a step of the same blur the curvature 1 / (2 s^2).
const double kNoisePlace_px = 2 * std::sqrt(1.5) * kBlur_px;
constexpr double kEdgeFloor_mm = 0.02;  // roughness of a sawn and broken edge over one point's stretch
constexpr int kFilterReach = 10;        // steps of a quarter pixel: three sigmas
// Phones keep colour at half the resolution of light (4:2:0): it must show more than that to be preferred.
constexpr double kColourTrust = 0.5;
constexpr double kMostShade = 5.0;  // face's light over the step's: beyond, the strip is no small addition
constexpr std::size_t kVoters = 4;  // points on either side

struct Edge {
  double offset_mm = 0, contrast = 0;
  // Of steps of light: half the difference between the places by light and by code values, the light of the
  // face beside the edge, and of the step.
  double light_or_code_mm = 0, face_light = 0, step_light = 0;
};

// What one photo shows at one point: the strongest step of each kind, with contrast 0 where there is none.
// Kinds: light falling or rising outwards, and likewise the two differences of colour.
constexpr std::size_t kKinds = 6, kLightKinds = 2;
struct Steps {
  std::size_t point;
  OutlineView view;
  bool looks_up;
  std::array<Edge, kKinds> edges{};
  std::array<double, kKinds> scores{};  // contrast, less for places far from where the edge is expected
};

// Buffers of one profile.
struct Reading {
  ColourProfile profile;
  std::vector<double> light, slope;
  double step_mm = 0;
  int half = 0;  // steps on either side of the point
};

const std::vector<double>& step_filter() {
  static const std::vector<double> filter = [] {
    std::vector<double> f;
    const double sigma = kBlur_px / 0.25;
    for (int k = -kFilterReach; k <= kFilterReach; ++k) {
      f.push_back(k * std::exp(-0.5 * k * k / (sigma * sigma)));
    }
    double norm = 0;  // unit response to a unit step
    for (int k = 1; k <= kFilterReach; ++k) norm += f[static_cast<std::size_t>(k + kFilterReach)];
    for (double& x : f) x /= norm;
    return f;
  }();
  return filter;
}

// Derivative of values at steps about the point; false where the picture ends. Eight steps side by side, each summed
// in the filter's order; `values` reach a filter's length beyond them.
template <class Value>
bool differentiate(const std::vector<Value>& values, int half, std::vector<double>& slope) {
  constexpr std::size_t kPairs = 4, kTogether = 2 * kPairs;
  const std::vector<double>& filter = step_filter();
  const auto count = static_cast<std::size_t>(2 * half + 1),
             padded = (count + kTogether - 1) / kTogether * kTogether;
  std::vector<double> wide(padded + filter.size(), 0.0);
  std::copy(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(count + filter.size() - 1),
            wide.begin());
  slope.resize(padded);
  for (std::size_t k = 0; k < padded; k += kTogether) {
    std::array<cv::v_float64x2, kPairs> sum;
    sum.fill(cv::v_setzero_f64());
    for (std::size_t j = 0; j < filter.size(); ++j) {
      const cv::v_float64x2 f = cv::v_setall_f64(filter[j]);
      for (std::size_t p = 0; p < kPairs; ++p) sum[p] += f * cv::v_load(&wide[k + j + 2 * p]);
    }
    for (std::size_t p = 0; p < kPairs; ++p) cv::v_store(&slope[k + 2 * p], sum[p]);
  }
  slope.resize(count);
  return std::all_of(slope.begin(), slope.end(), [](double x) { return std::isfinite(x); });
}

bool is_peak(const std::vector<double>& slope, std::size_t i, double sign) {
  return sign * slope[i] > 0 && sign * slope[i] >= sign * slope[i - 1] &&
         sign * slope[i] >= sign * slope[i + 1];
}

// Place of a peak between the steps, by a parabola, in mm.
double peak_mm(const Reading& r, std::size_t i, double sign) {
  const std::vector<double>& s = r.slope;
  const double curve = s[i - 1] - 2 * s[i] + s[i + 1];
  const double shift = sign * curve < 0 ? 0.5 * (s[i - 1] - s[i + 1]) / curve : 0;
  return (static_cast<double>(i) - r.half + shift) * r.step_mm;
}

// The best peak of sign * slope, no further than `reach_mm` either way: a limit on one side alone would draw
// edges to the other.
void best_peak(const Reading& r, double sign, double window_mm, double reach_mm, Edge& edge, double& score) {
  std::size_t best = 0;
  for (std::size_t i = 1; i + 1 < r.slope.size(); ++i) {
    const double here = sign * r.slope[i];
    if (here < kLeastContrast || !is_peak(r.slope, i, sign)) continue;
    const double at_mm = (static_cast<double>(i) - r.half) * r.step_mm;
    if (std::abs(at_mm) > reach_mm) continue;
    const double x = at_mm / window_mm;
    if (here * (1 - 0.5 * x * x) > score) {
      score = here * (1 - 0.5 * x * x);
      best = i;
    }
  }
  if (best == 0) return;
  edge.offset_mm = peak_mm(r, best, sign);
  edge.contrast = sign * r.slope[best];
}

// Light of a code value, both on 0 to 255 (IEC 61966-2-1).
double light_of(double code) {
  static const std::array<double, 1025> table = [] {
    std::array<double, 1025> t{};
    for (std::size_t i = 0; i < t.size(); ++i) {
      const double v = static_cast<double>(i) / 1024;
      t[i] = 255 * (v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    return t;
  }();
  const double x = std::clamp(code / 255, 0.0, 1.0) * 1024;
  const auto i = std::min<std::size_t>(1023, static_cast<std::size_t>(x));
  return table[i] + (x - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

// The face's light two to four pixels inward of a step.
double face_light(const Reading& r, std::size_t at) {
  constexpr std::size_t kFrom = 16, kTo = 8;
  const std::size_t i = at + kFilterReach;  // the profile begins a filter's reach before the slope
  double sum = 0;
  std::size_t count = 0;
  for (std::size_t k = i - std::min(i, kFrom); k + kTo <= i; ++k, ++count) sum += r.light[k];
  return count > 0 ? sum / static_cast<double>(count) : 0;
}

// Steps of light found in code values are looked up in light, a pixel and a half about.
void compare_with_light(Reading& r, Steps& found) {
  constexpr std::ptrdiff_t kNear = 6;
  if (found.edges[0].contrast <= 0 && found.edges[1].contrast <= 0) return;
  r.light.resize(r.profile[0].size());
  std::transform(r.profile[0].begin(), r.profile[0].end(), r.light.begin(),
                 [](float v) { return light_of(static_cast<double>(v)); });
  differentiate(r.light, r.half, r.slope);
  const auto last = static_cast<std::ptrdiff_t>(r.slope.size()) - 2;
  for (std::size_t kind = 0; kind < kLightKinds; ++kind) {
    Edge& edge = found.edges[kind];
    if (edge.contrast <= 0) continue;
    const double sign = kind == 0 ? -1 : 1;
    const std::ptrdiff_t middle = std::lround(edge.offset_mm / r.step_mm) + r.half;
    std::size_t best = 0;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(1, middle - kNear); k <= std::min(last, middle + kNear);
         ++k) {
      const auto i = static_cast<std::size_t>(k);
      if (is_peak(r.slope, i, sign) && (best == 0 || sign * r.slope[i] > sign * r.slope[best])) best = i;
    }
    if (best == 0) continue;
    edge.light_or_code_mm = 0.5 * (peak_mm(r, best, sign) - edge.offset_mm);
    edge.offset_mm += edge.light_or_code_mm;
    edge.face_light = face_light(r, best);
    edge.step_light = sign * r.slope[best];
  }
}

// Contrasts of one photo along a piece's edges, most of them no edge: their robust standard deviation.
class AwayFromEdges {
 public:
  void add(std::size_t channel, const std::vector<double>& slope) {
    constexpr std::size_t kEvery = 4;  // neighbours say the same
    for (std::size_t i = 0; i < slope.size(); i += kEvery) sizes_[channel].push_back(std::abs(slope[i]));
  }
  ChannelNoise sd() {
    ChannelNoise out{};
    for (std::size_t c = 0; c < out.size(); ++c) {
      if (!sizes_[c].empty()) out[c] = core::robust_sd(std::move(sizes_[c]));
    }
    return out;
  }

 private:
  std::array<std::vector<double>, std::tuple_size_v<ChannelNoise>> sizes_;
};

// Reads one photo across one point.
void read_across(const surface::Picture& picture, const OutlineView& view, double window_mm, Reading& r) {
  r.step_mm = 0.25 / view.px_per_mm;
  r.half = static_cast<int>(std::ceil(window_mm / r.step_mm));
  const auto count = static_cast<std::size_t>(2 * (r.half + kFilterReach) + 1);
  read_colour_profile(picture, view, -(r.half + kFilterReach) * r.step_mm, r.step_mm, kAcross_mm, count,
                      r.profile);
}

// Steps of all kinds within +-window, no further off than `reach_mm`; false where the picture ends.
bool find_steps(const surface::Picture& picture, double window_mm, double reach_mm, Steps& found,
                Reading& r) {
  read_across(picture, found.view, window_mm, r);
  for (std::size_t c = 0; c < r.profile.size(); ++c) {
    if (!differentiate(r.profile[c], r.half, r.slope)) return false;
    best_peak(r, -1, window_mm, reach_mm, found.edges[2 * c], found.scores[2 * c]);
    best_peak(r, 1, window_mm, reach_mm, found.edges[2 * c + 1], found.scores[2 * c + 1]);
  }
  compare_with_light(r, found);
  for (std::size_t kind = kLightKinds; kind < kKinds; ++kind) found.scores[kind] *= kColourTrust;
  return true;
}

// How far the corner's darkness draws an edge: outward where light rises outward, inward where it falls.
double shade_mm(const BrokenCorner& corner, double slope, double face_light, double step_light,
                std::size_t kind) {
  if (kind >= kLightKinds || step_light <= 0) return 0;
  const double share = std::min(kMostShade, face_light / step_light);
  return (kind == 0 ? -1 : 1) * share * strip_width_mm(corner, slope);
}

// Whether the rise seen at a point is the upper end of a bright strip, the arris being the fall beyond it.
bool bright_strip(const Steps& s, const BrokenCorner& corner) {
  constexpr double kLeastShare = 0.3, kMostBeyond_px = 1.5;  // blur draws narrow steps together or apart
  if (s.view.slope <= 0 || s.edges[0].contrast < kLeastContrast) return false;
  const double width = strip_width_mm(corner, s.view.slope);
  const double apart = s.edges[0].offset_mm - s.edges[1].offset_mm;
  return apart > kLeastShare * width && apart < width + kMostBeyond_px / s.view.px_per_mm;
}

// How much of a corner's strip an edge is drawn by: all where its ends are seen as one step, less and less
// where they are two (the steepest place of a blurred step with a small one some way off).
double unresolved(double strip_px) {
  return std::exp(-0.5 * strip_px * strip_px / (kSeenBlur_px * kSeenBlur_px));
}

// One photo's steps, by point.
class PhotoSteps {
 public:
  PhotoSteps(const std::vector<Steps>& steps, std::size_t points) : at_(points, nullptr) {
    for (const Steps& s : steps) at_[s.point] = &s;
  }

  // The kind of step that the points about this one see best.
  std::size_t kind_at(std::size_t point) const {
    std::array<double, kKinds> votes{};
    for_neighbours(point, [&](const Steps& n) {
      for (std::size_t kind = 0; kind < kKinds; ++kind) votes[kind] += n.scores[kind];
    });
    return static_cast<std::size_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
  }

  // Light of the face and of the step about a point, summed.
  std::pair<double, double> light_at(std::size_t point, std::size_t kind) const {
    double face = 0, step = 0;
    for_neighbours(point, [&](const Steps& n) {
      if (n.edges[kind].step_light <= 0) return;
      face += n.edges[kind].face_light;
      step += n.edges[kind].step_light;
    });
    return {face, step};
  }

 private:
  template <class Use>
  void for_neighbours(std::size_t point, const Use& use) const {
    for (std::size_t d = 0; d <= 2 * kVoters; ++d) {
      const Steps* n = at_[(point + at_.size() + d - kVoters) % at_.size()];
      if (n != nullptr) use(*n);
    }
  }

  std::vector<const Steps*> at_;
};

void choose_kinds(const std::vector<Steps>& steps, const ArrisLine& line, const ChannelNoise& noise_sd,
                  std::vector<ArrisObservation>& out) {
  const PhotoSteps photo(steps, line.outline.size());
  for (const Steps& s : steps) {
    const BrokenCorner& corner = line.corners[s.point];
    const std::size_t voted = photo.kind_at(s.point);
    const std::size_t kind = voted == 1 && bright_strip(s, corner) ? 0 : voted;
    const Edge& edge = s.edges[kind];
    const double contrast_sd = noise_sd[kind / 2];
    if (edge.contrast < std::max(kLeastContrast, kLeastOverNoise * contrast_sd)) continue;
    const double slope = s.view.slope;
    const double by_contrast = contrast_sd > 0 ? kNoisePlace_px * contrast_sd : kEdgeSd_px * 30;
    const double noise = std::max(kEdgeSd_px, by_contrast / edge.contrast) / s.view.px_per_mm;
    ArrisObservation o{
        s.point, s.view.photo, slope, edge.offset_mm - rim_shift_mm(corner, slope), edge.contrast, 0};
    o.looks_up = s.looks_up;
    const double share = unresolved(strip_width_mm(corner, slope) * s.view.px_per_mm);
    o.offset_mm -= share * wall_shift_mm(corner, slope, s.looks_up);
    o.strip_mm = share * strip_width_mm(corner, slope);
    o.corner_sd_mm = share * on_corner_mm(corner, slope, s.looks_up);
    if (slope > 0) o.corner_sd_mm = std::hypot(o.corner_sd_mm, kWallReading_px / s.view.px_per_mm);
    o.sd_mm =
        slope < 0 ? std::hypot(noise, kEdgeFloor_mm) : std::hypot(kWallViewFactor * noise, o.corner_sd_mm);
    const auto [face, step] = photo.light_at(s.point, kind);
    o.shade_mm = share * shade_mm(corner, slope, face, step, kind);
    o.light_or_code_mm = edge.light_or_code_mm;
    o.pixel_mm = 1 / s.view.px_per_mm;
    out.push_back(o);
  }
}

// Calls use(point, view, looks_up) for every view of every point of an arris, from the side to square onto
// its wall.
template <class Use>
void for_views(const scan::Scan& scan,
               const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
               const ArrisLine& line, const Surroundings& around, const Use& use) {
  for (std::size_t i = 0; i < line.outline.size(); ++i) {
    const Vector2d& normal = line.normals[i];
    const geometry::PlaneFrame plane = line.plane_at(i);
    const bool looks_up = plane.ex.z() * normal.x() + plane.ey.z() * normal.y() > kLooksUp;
    for (const OutlineView& view :
         views_of_point(scan, pictures, plane, line.outline[i], normal, kStepCosine, around)) {
      if (view.slope >= kHiddenFrom && view.slope <= kWallTo) use(i, view, looks_up);
    }
  }
}

}  // namespace

double trusted(std::size_t channel) {
  return channel == 0 ? 1.0 : kColourTrust;
}

AllSteps all_steps(const scan::Scan& scan,
                   const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                   const ArrisLine& line, double window_mm, const Surroundings& around) {
  AllSteps out{{}, ContrastNoise(scan.photos.size())};
  geometry::IndexedVector<geometry::PhotoIndex, AwayFromEdges> away(scan.photos.size());
  Reading r;
  for_views(scan, pictures, line, around, [&](std::size_t point, const OutlineView& view, bool) {
    read_across(pictures[view.photo], view, window_mm, r);
    SeenSteps seen{point, view, {}};
    for (std::size_t c = 0; c < r.profile.size(); ++c) {
      if (!differentiate(r.profile[c], r.half, r.slope)) return;
      away[view.photo].add(c, r.slope);
      for (std::size_t i = 1; i + 1 < r.slope.size(); ++i) {
        const double sign = r.slope[i] < 0 ? -1 : 1;
        const double contrast = sign * r.slope[i];
        if (contrast * trusted(c) < kLeastContrast || !is_peak(r.slope, i, sign)) continue;
        seen.steps.push_back({peak_mm(r, i, sign), contrast, c, c == 0 && sign > 0});
      }
    }
    out.seen.push_back(std::move(seen));
  });
  for (std::size_t p = 0; p < away.size(); ++p)
    out.noise[geometry::PhotoIndex(p)] = away[geometry::PhotoIndex(p)].sd();
  return out;
}

std::vector<ArrisObservation> observe_edges(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const ArrisLine& line, double window_mm, const Surroundings& around) {
  geometry::IndexedVector<geometry::PhotoIndex, std::vector<Steps>> seen(scan.photos.size());
  Reading reading;
  for_views(scan, pictures, line, around, [&](std::size_t point, const OutlineView& view, bool looks_up) {
    Steps found{point, view, looks_up};
    const double window = std::max(window_mm, kLeastWindow_px / view.px_per_mm);
    // A step nearer to the rim than to the arris is the rim.
    const double strip = strip_width_mm(line.corners[point], view.slope);
    const double reach = strip > 0 ? std::max(strip / 2, kLeastReach_px / view.px_per_mm) : window;
    if (find_steps(pictures[view.photo], window, reach, found, reading)) seen[view.photo].push_back(found);
  });
  std::vector<ArrisObservation> out;
  for (std::size_t p = 0; p < seen.size(); ++p) {
    const geometry::PhotoIndex photo(p);
    const bool known = line.contrast_noise.size() > 0;
    choose_kinds(seen[photo], line, known ? line.contrast_noise[photo] : ChannelNoise{}, out);
  }
  return out;
}

}  // namespace interstice::edges
