#include "surface/pattern_azimuth.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"
#include "geometry/polygon.h"
#include "plan/piece_model.h"

namespace interstice::surface {

using Eigen::Vector2d;

namespace {

constexpr double kErode_mm = 1.5;  // pieces sit a millimetre or two off their planned place
constexpr double kSeam_mm = 2;  // beside a piece lies a seam: wide enough to fill one of 4 mm from both sides
constexpr int kCoarseSteps = 720;
constexpr std::size_t kApart = 6;  // steps: three degrees, as wide as a pattern's peak
constexpr double kLight_mm = 20;   // standard deviation: half a piece and a seam
constexpr float kDark = 8;         // code values: what the camera's noise is in the dark

cv::Mat disc(double radius_mm, const MapGrid& grid) {
  const int k = 2 * std::max(1, static_cast<int>(std::lround(radius_mm / grid.step_mm))) + 1;
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {k, k});
}

cv::Mat filled(const geometry::Polygon& outline, const MapGrid& grid) {
  std::vector<cv::Point> rounded;
  for (const Vector2d& uv : outline) {
    const Vector2d cell = grid.cell(uv);
    rounded.emplace_back(cv::Point2f(static_cast<float>(cell.x()), static_cast<float>(cell.y())));
  }
  cv::Mat mask = cv::Mat::zeros(grid.side(), grid.side(), CV_8U);
  if (!rounded.empty()) cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{rounded}, 255);
  return mask;
}

// Region of every map cell: 0 the form beside all pieces, then the pieces, then what lies round each of them,
// -1 too near a border to be sure. Seams are dark and a bare form may be bright: as one region they would
// differ so much among themselves that the best turn is one that hides seams under dark pieces (2.6 degrees
// off with a third of a shell glued on).
cv::Mat regions_of(const std::vector<geometry::Polygon>& outlines, const MapGrid& grid) {
  cv::Mat regions(grid.side(), grid.side(), CV_32S, cv::Scalar(0));
  std::vector<cv::Mat> faces;
  for (std::size_t t = 0; t < outlines.size(); ++t) {
    cv::Mat mask = filled(outlines[t], grid), round;
    cv::dilate(mask, round, disc(kSeam_mm, grid));
    regions.setTo(static_cast<int>(outlines.size() + t) + 1, round);
    faces.push_back(mask);
  }
  for (std::size_t t = 0; t < faces.size(); ++t) {
    cv::Mat core;
    cv::erode(faces[t], core, disc(kErode_mm, grid));
    regions.setTo(-1, faces[t]);
    regions.setTo(static_cast<int>(t) + 1, core);
  }
  return regions;
}

struct PatternSample {
  Vector2d uv;
  cv::Vec3d colour;
  double square;  // of the colour's length
};

// Share of the samples' variance of colour that the regions explain, the picture turned back by the angle
// (from the scan's frame to the plan's).
double explained_share(const std::vector<PatternSample>& samples, const cv::Mat& regions, const MapGrid& grid,
                       double angle, std::size_t count_of_regions) {
  struct Region {
    cv::Vec3d sum{0, 0, 0};
    double squares = 0, count = 0;
  };
  std::vector<Region> all(count_of_regions);
  const double c = std::cos(angle), s = std::sin(angle);
  for (const PatternSample& sample : samples) {
    const Vector2d cell =
        grid.cell({c * sample.uv.x() + s * sample.uv.y(), -s * sample.uv.x() + c * sample.uv.y()});
    if (!(cell.x() > -0.5 && cell.y() > -0.5)) continue;
    const int column = static_cast<int>(cell.x() + 0.5), row = static_cast<int>(cell.y() + 0.5);
    if (column >= regions.cols || row >= regions.rows) continue;
    const int region = regions.at<int>(row, column);
    if (region < 0) continue;
    Region& r = all[static_cast<std::size_t>(region)];
    r.sum += sample.colour;
    r.squares += sample.square;
    r.count += 1;
  }
  cv::Vec3d total(0, 0, 0);
  double squares = 0, count = 0, between = 0;
  for (const Region& r : all) {
    total += r.sum;
    squares += r.squares;
    count += r.count;
    if (r.count > 0) between += r.sum.dot(r.sum) / r.count;
  }
  if (count < 1) return 0;
  const double mean = total.dot(total) / count, variance = squares - mean;
  return variance > 0 ? (between - mean) / variance : 0;
}

// How far every value stands above the mean of its surroundings, in standard deviations of what all
// values do. The share swings widely with how much wood the plan's pieces cover; the pattern's own peak is a
// few degrees wide.
std::vector<double> over_surroundings(const std::vector<double>& share) {
  const int n = static_cast<int>(share.size()), half = n / 24;  // 15 degrees
  std::vector<double> over(share.size());
  double square = 0;
  for (int i = 0; i < n; ++i) {
    double mean = 0;
    for (int d = -half; d <= half; ++d) mean += share[static_cast<std::size_t>((i + d + n) % n)];
    over[static_cast<std::size_t>(i)] = share[static_cast<std::size_t>(i)] - mean / (2 * half + 1);
    square += over[static_cast<std::size_t>(i)] * over[static_cast<std::size_t>(i)] / n;
  }
  for (double& o : over) o /= std::sqrt(std::max(square, 1e-12));
  return over;
}

double angle_of(std::size_t k) {
  return 2 * std::numbers::pi * static_cast<double>(k) / kCoarseSteps;
}

// Largest values of a curve over a full turn, none within `apart` of a larger one.
std::vector<std::size_t> peaks(const std::vector<double>& curve, std::size_t apart, std::size_t most) {
  std::vector<std::size_t> order(curve.size()), out;
  for (std::size_t k = 0; k < order.size(); ++k) order[k] = k;
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return curve[a] > curve[b]; });
  for (const std::size_t k : order) {
    if (out.size() == most) break;
    const bool near = std::any_of(out.begin(), out.end(), [&](std::size_t better) {
      const std::size_t d = k > better ? k - better : better - k;
      return std::min(d, curve.size() - d) < apart;
    });
    if (!near) out.push_back(k);
  }
  return out;
}

// Steps of half its size either way as long as they lead up.
template <class Value>
double climbed(double angle, const Value& value) {
  double best = value(angle);
  for (double step = std::numbers::pi / kCoarseSteps; step > 2e-4; step /= 2) {
    for (const double candidate : {angle - step, angle + step}) {
      const double v = value(candidate);
      if (v > best) best = v, angle = candidate;
    }
  }
  return angle;
}

std::vector<PatternSample> samples_of(const cv::Mat& picture, const MapGrid& grid) {
  std::vector<PatternSample> samples;
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const cv::Vec3d colour = picture.at<cv::Vec3f>(row, column);
      if (std::isfinite(colour[0])) samples.push_back({grid.uv(column, row), colour, colour.dot(colour)});
    }
  }
  return samples;
}

// A picture less its mean over centimetres, what is far from it cut off (a lamp's image); NaN where it is.
cv::Mat without_light(const cv::Mat& picture, const MapGrid& grid) {
  // NaN differs from itself. NOLINTNEXTLINE(misc-redundant-expression)
  cv::Mat known = picture == picture, one, weight, mean, flat = picture.clone();
  cv::extractChannel(known, one, 0);
  flat.setTo(cv::Scalar::all(0), ~one);
  one.convertTo(weight, CV_32F, 1.0 / 255);
  const double sigma = kLight_mm / grid.step_mm;
  cv::GaussianBlur(flat, mean, {0, 0}, sigma);
  cv::GaussianBlur(weight, weight, {0, 0}, sigma);
  for (int r = 0; r < picture.rows; ++r) {
    for (int c = 0; c < picture.cols; ++c) {
      cv::Vec3f& p = flat.at<cv::Vec3f>(r, c);
      if (one.at<uchar>(r, c) == 0) {
        p = cv::Vec3f::all(NAN);
        continue;
      }
      // In shares of the light there is about it: the same wood in more or less of it.
      const cv::Vec3f about = mean.at<cv::Vec3f>(r, c) / std::max(1e-3f, weight.at<float>(r, c));
      for (int k = 0; k < 3; ++k) p[k] = std::clamp((p[k] - about[k]) / (about[k] + kDark), -1.0f, 1.0f);
    }
  }
  return flat;
}

// Correlation of all channels of what `then` samples show with `now`, turned.
double likeness(const std::vector<PatternSample>& then, const cv::Mat& now, const MapGrid& grid,
                double angle) {
  const double c = std::cos(angle), s = std::sin(angle);
  cv::Vec3d x(0, 0, 0), y(0, 0, 0);
  double xx = 0, yy = 0, xy = 0, n = 0;
  for (const PatternSample& sample : then) {
    const Vector2d cell =
        grid.cell({c * sample.uv.x() - s * sample.uv.y(), s * sample.uv.x() + c * sample.uv.y()});
    const auto column = static_cast<int>(std::lround(cell.x())),
               row = static_cast<int>(std::lround(cell.y()));
    if (column < 0 || row < 0 || column >= now.cols || row >= now.rows) continue;
    const cv::Vec3d seen = now.at<cv::Vec3f>(row, column);
    if (!std::isfinite(seen[0])) continue;
    x += sample.colour, y += seen;
    xx += sample.square, yy += seen.dot(seen), xy += seen.dot(sample.colour);
    n += 1;
  }
  if (n < 0.3 * static_cast<double>(then.size())) return -1;  // hardly seen so
  const double vx = xx - x.dot(x) / n, vy = yy - y.dot(y) / n;
  return vx > 0 && vy > 0 ? (xy - x.dot(y) / n) / std::sqrt(vx * vy) : -1;
}

}  // namespace

std::vector<geometry::Polygon> planned_on_map(const plan::Plan& plan, double height_mm, bool mirrored) {
  std::vector<geometry::Polygon> out(plan.tiles.size());
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(t));
    for (const Vector2d& p : face.outline) {
      const Vector2d uv =
          plan.profile.locate(face.frame.lift(p) + (height_mm - plan.tile_thickness_mm) * face.frame.normal)
              .uv;
      out[t].push_back(mirrored ? Vector2d(uv.x(), -uv.y()) : uv);
    }
  }
  return out;
}

namespace {

// The share of variance explained over the turns, and what it was made of.
struct ShareCurve {
  ShareCurve(const cv::Mat& picture, const MapGrid& map, const std::vector<geometry::Polygon>& outlines,
             int threads)
      : grid(map),
        regions(regions_of(outlines, map)),
        count(2 * outlines.size() + 1),
        samples(samples_of(picture, map)),
        share(kCoarseSteps) {
    core::parallel_for(share.size(), threads, [&](std::size_t k) { share[k] = at(angle_of(k)); });
  }
  double at(double angle) const { return explained_share(samples, regions, grid, angle, count); }

  MapGrid grid;
  cv::Mat regions;
  std::size_t count;
  std::vector<PatternSample> samples;
  std::vector<double> share;
};

}  // namespace

Turn find_turn(const cv::Mat& picture, const MapGrid& grid, const plan::Plan& plan, double height_mm,
               bool mirrored, int threads) {
  const ShareCurve curve(picture, grid, planned_on_map(plan, height_mm, mirrored), threads);
  const std::vector<double>& share = curve.share;
  const auto best = std::max_element(share.begin(), share.end());
  const auto at = static_cast<std::size_t>(best - share.begin());
  Turn turn;
  double mean = 0, var = 0;
  for (const double s : share) mean += s / kCoarseSteps;
  for (const double s : share) var += (s - mean) * (s - mean) / kCoarseSteps;
  turn.clearance = (*best - mean) / std::sqrt(std::max(var, 1e-12));
  turn.over_surroundings = over_surroundings(share)[at];
  turn.angle = climbed(angle_of(at), [&](double angle) { return curve.at(angle); });
  turn.explained = curve.at(turn.angle);
  return turn;
}

std::vector<double> likely_turns(const cv::Mat& picture, const MapGrid& grid,
                                 const std::vector<geometry::Polygon>& outlines, std::size_t most,
                                 int threads) {
  const ShareCurve curve(picture, grid, outlines, threads);
  std::vector<double> out;
  for (const std::size_t k : peaks(over_surroundings(curve.share), kApart, most))
    out.push_back(climbed(angle_of(k), [&](double angle) { return curve.at(angle); }));
  return out;
}

std::vector<double> alike_turns(const cv::Mat& now, const cv::Mat& then, const MapGrid& grid,
                                const std::vector<geometry::Polygon>& outlines, std::size_t most,
                                int threads) {
  cv::Mat wood = cv::Mat::zeros(grid.side(), grid.side(), CV_8U);
  for (const geometry::Polygon& outline : outlines) wood |= filled(outline, grid);
  cv::erode(wood, wood, disc(kErode_mm, grid));
  const cv::Mat seen = without_light(now, grid);
  cv::Mat as_it_was = without_light(then, grid);
  as_it_was.setTo(cv::Scalar::all(NAN), ~wood);
  const std::vector<PatternSample> samples = samples_of(as_it_was, grid);
  if (samples.empty()) return {};
  std::vector<double> curve(kCoarseSteps);
  const auto at = [&](double angle) { return likeness(samples, seen, grid, angle); };
  core::parallel_for(curve.size(), threads, [&](std::size_t k) { curve[k] = at(angle_of(k)); });
  std::vector<double> out;
  for (const std::size_t k : peaks(curve, kApart, most)) out.push_back(climbed(angle_of(k), at));
  return out;
}

}  // namespace interstice::surface
