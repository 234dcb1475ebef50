#include "surface/pairwise_shift.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <set>

#include "core/parallel.h"

namespace interstice::surface {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Light and shade vary over centimetres, joints and the woods' differences over a few millimetres.
constexpr double kDetail_mm = 4;
constexpr double kStep_mm = 1.5;  // of the shifts tried first: joints are wider
constexpr double kFine_mm = 0.2;  // then down to this, a third of a pixel of the pictures
constexpr int kSteps = 10, kTrials = 2 * kSteps + 1;
constexpr double kSpacing_mm = 2;  // of the places looked at: nearer ones say the same
constexpr double kCells = 6000;    // about as many as are looked at
constexpr std::size_t kNeighbours = 5;
constexpr double kLeastCosine = 0.35;  // as views_of()
constexpr std::size_t kFewCells = 300;
constexpr double kApart_mm = 3;

// A picture less its surroundings, in units of how much it varies there.
cv::Mat detail(const Picture& picture, double mm_per_pixel) {
  cv::Mat grey, mean, spread;
  picture.grey.convertTo(grey, CV_32F);
  cv::GaussianBlur(grey, grey, {0, 0}, kStep_mm / 2 / mm_per_pixel);  // no finer than the steps
  const double sigma = kDetail_mm / mm_per_pixel;
  cv::GaussianBlur(grey, mean, {0, 0}, sigma);
  grey -= mean;
  cv::GaussianBlur(grey.mul(grey), spread, {0, 0}, sigma);
  cv::sqrt(spread, spread);
  constexpr double kNoise = 2;  // grey levels
  cv::Mat out = grey / (spread + kNoise);
  return out;
}

struct Cell {
  Vector3d p, normal;
};

// Places on the form with a known height, evenly spread.
std::vector<Cell> cells_of(const geometry::Profile& profile, const HeightField& field) {
  // NaN differs from itself. NOLINTNEXTLINE(misc-redundant-expression)
  const double known = cv::countNonZero(field.height == field.height);
  const double step = field.grid.step_mm;
  const int every =
      static_cast<int>(std::ceil(std::max(kSpacing_mm / step, std::sqrt(known / kCells)) - 1e-9));
  std::vector<Cell> out;
  for (int row = 0; row < field.grid.side(); row += every) {
    for (int column = 0; column < field.grid.side(); column += every) {
      const double h = static_cast<double>(field.height.at<float>(row, column));
      const Vector2d uv = field.grid.uv(column, row);
      if (std::isfinite(h)) out.push_back({profile.point(uv, h), profile.normal(uv)});
    }
  }
  return out;
}

std::vector<std::pair<std::size_t, std::size_t>> neighbours(const scan::Scan& scan) {
  std::set<std::pair<std::size_t, std::size_t>> pairs;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    std::vector<std::pair<double, std::size_t>> others;
    const Vector3d from = scan.photos[geometry::PhotoIndex(i)].centre().normalized();
    for (std::size_t j = 0; j < scan.photos.size(); ++j) {
      if (j != i)
        others.emplace_back(-from.dot(scan.photos[geometry::PhotoIndex(j)].centre().normalized()), j);
    }
    std::sort(others.begin(), others.end());
    for (std::size_t k = 0; k < std::min(kNeighbours, others.size()); ++k)
      pairs.insert(std::minmax(i, others[k].second));
  }
  return {pairs.begin(), pairs.end()};
}

struct Sample {  // a cell in the second photo's picture, and what the first shows of it
  float first;
  Vector2d pixel;
  Eigen::Matrix2d slope;  // pixels a millimetre over the bench
};

std::vector<Sample> samples_of(const std::vector<Cell>& cells, const scan::Scan& scan,
                               const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                               const geometry::IndexedVector<geometry::PhotoIndex, cv::Mat>& details,
                               geometry::PhotoIndex a, geometry::PhotoIndex b) {
  std::vector<Sample> out;
  const scan::ScannedPhoto &first = scan.photos[a], &second = scan.photos[b];
  const Vector3d ca = first.centre(), cb = second.centre();
  for (const Cell& c : cells) {
    if (c.normal.dot((ca - c.p).normalized()) < kLeastCosine) continue;
    if (c.normal.dot((cb - c.p).normalized()) < kLeastCosine) continue;
    const Vector2d qa = first.project(c.p), qb = second.project(c.p);
    if (!first.lens.in_frame(qa, 3) || !second.lens.in_frame(qb, 3)) continue;
    const Vector2d pa = pictures[a].from_photo(qa);
    Sample s{sample<float>(details[a], pa.x(), pa.y()), pictures[b].from_photo(qb), {}};
    for (int k = 0; k < 2; ++k)
      s.slope.col(k) = pictures[b].from_photo(second.project(c.p + Vector3d::Unit(k))) - s.pixel;
    if (std::isfinite(s.first)) out.push_back(s);
  }
  return out;
}

double agreement(const std::vector<Sample>& samples, const cv::Mat& detail, const Vector2d& moved) {
  double ab = 0, aa = 0, bb = 0;
  for (const Sample& s : samples) {
    const Vector2d q = s.pixel + s.slope * moved;
    const float b = sample<float>(detail, q.x(), q.y());
    if (!std::isfinite(b)) continue;
    ab += static_cast<double>(s.first * b);
    aa += static_cast<double>(s.first * s.first);
    bb += static_cast<double>(b * b);
  }
  return aa > 0 && bb > 0 ? ab / std::sqrt(aa * bb) : 0;
}

Vector2d place(int k) {
  return kStep_mm * Vector2d(k % kTrials - kSteps, k / kTrials - kSteps);
}

PlaceDifference difference(const std::vector<Sample>& samples, const cv::Mat& detail) {
  std::array<double, kTrials * kTrials> score{};
  for (int k = 0; k < kTrials * kTrials; ++k)
    score[static_cast<std::size_t>(k)] = agreement(samples, detail, place(k));
  const int best = static_cast<int>(std::max_element(score.begin(), score.end()) - score.begin());
  PlaceDifference d;
  d.moved_mm = place(best);
  d.agreement = score[static_cast<std::size_t>(best)];
  for (double step = kStep_mm / 2; step > kFine_mm / 2; step /= 2) {
    const Vector2d from = d.moved_mm;
    for (int k = 0; k < 9; ++k) {
      const Vector2d m = from + step * Vector2d(k % 3 - 1, k / 3 - 1);
      const double s = agreement(samples, detail, m);
      if (s <= d.agreement) continue;
      d.agreement = s;
      d.moved_mm = m;
    }
  }
  double elsewhere = -1;
  for (int k = 0; k < kTrials * kTrials; ++k) {
    if ((place(k) - d.moved_mm).norm() >= kApart_mm)
      elsewhere = std::max(elsewhere, score[static_cast<std::size_t>(k)]);
  }
  d.above = d.agreement - elsewhere;
  d.cells = samples.size();
  return d;
}

}  // namespace

bool PlaceDifference::sure() const {
  // Pictures that have nothing to do with each other correlate by chance, with a standard deviation of
  // 1 / sqrt(n) over n independent cells; the largest of some hundred chance values stays under three, the
  // value at the best place has its own.
  constexpr double kSure = 4.5;
  return cells >= kFewCells && above > kSure / std::sqrt(static_cast<double>(cells));
}

std::vector<PlaceDifference> place_differences(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
    const geometry::Profile& profile, const HeightField& heights, int threads) {
  geometry::IndexedVector<geometry::PhotoIndex, cv::Mat> details(scan.photos.size());
  const double full = std::max(1e-3, scan.quality.pixel_footprint_mm);
  core::parallel_for(scan.photos.size(), threads, [&](std::size_t i) {
    const Picture& picture = pictures[geometry::PhotoIndex(i)];
    details[geometry::PhotoIndex(i)] = detail(picture, full * picture.factor);
  });
  const std::vector<Cell> cells = cells_of(profile, heights);
  const auto pairs = neighbours(scan);
  std::vector<PlaceDifference> found(pairs.size());
  core::parallel_for(pairs.size(), threads, [&](std::size_t n) {
    const geometry::PhotoIndex a(pairs[n].first), b(pairs[n].second);
    const std::vector<Sample> samples = samples_of(cells, scan, pictures, details, a, b);
    if (samples.size() >= kFewCells) found[n] = difference(samples, details[b]);
    found[n].first = a;
    found[n].second = b;
  });
  return found;
}

}  // namespace interstice::surface
