#include "scan/form_moved.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/parallel.h"

namespace interstice {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Heights of points on faces and bare form scatter by this (faces are plane, the form is not); a point
// anywhere within half the stock of a surface is as likely a mistake.
// Two places instead of one make the points likelier; by how much is the gain, in the logarithm. Mistaken
// matches come in clusters, so that each pair of photos is a witness of limited weight. Rendered scans of a
// form that stood still gain 1 to 9, at most 0.15 a pair; moved by 2, 4 and 15 mm, 12 to 24, at least 0.4 a
// pair.
constexpr double kWitness = 3;
constexpr double kSure = 11, kSureEach = 0.35;
constexpr double kLeast_mm = 3;  // pieces' heights (glue) may draw one side's axis aside by a millimetre
constexpr double kHeightSd_mm = 1.0;
constexpr double kStep_mm =
    1.5;                    // of the places the axis is tried at: finer than the scatter lets it be told
constexpr int kSteps = 12;  // each way
// Places across the view are good to some tenths of a millimetre (pixels, positions of the cameras), along it
// to that over the angle between the views: narrower pairs scatter by more than the above, and all points
// alike.
constexpr double kWide = 0.2;
constexpr double kBench_mm = 3;  // points lower than this may be the bench's
constexpr int kSide = 2 * kSteps + 1;

// Logarithm of the likelihood of a pair's points with the axis at each place round the seat's, over that of
// mistakes alone.
using Likelihood = Eigen::Array<double, kSide * kSide, 1>;

Vector2d place(int k) {
  return kStep_mm * Vector2d(k % kSide - kSteps, k / kSide - kSteps);
}

Likelihood likelihood_of(const PairPoints& pair, const Profile& profile, const Seat& seat) {
  Likelihood sum = Likelihood::Zero();
  if (pair.angle < kWide) return sum;
  const double top = seat.face_mm, peak = top / (kHeightSd_mm * std::sqrt(2 * std::numbers::pi));
  const auto off = [&](const Vector3d& p, const Vector2d& axis) {
    const double h = profile.locate(Vector3d(p.x() - axis.x(), p.y() - axis.y(), p.z())).height;
    return std::min(std::abs(h), std::abs(h - top));
  };
  const double reach = std::numbers::sqrt2 * kSteps * kStep_mm + 4 * kHeightSd_mm;
  for (const Vector3d& p : pair.points) {
    if (p.z() < kBench_mm || off(p, seat.axis_mm) > reach) continue;  // a mistake wherever the axis is
    for (int k = 0; k < kSide * kSide; ++k) {
      const double r = off(p, seat.axis_mm + place(k)) / kHeightSd_mm;
      sum[k] += std::log(0.5 + 0.5 * peak * std::exp(-r * r / 2));
    }
  }
  return sum;
}

// The photos up to one and those from it on, each with the axis where they have it.
struct Split {
  std::size_t from = 0, witnesses = 0;
  double apart = 0;  // likelihood of both parts
  double gain = 0;   // over the axis in one place
  double moved_mm = 0;

  bool sure() const {
    return moved_mm >= kLeast_mm && gain >= kSure && gain >= kSureEach * static_cast<double>(witnesses);
  }
};

Split split_at(std::size_t from, const std::vector<PairPoints>& pairs,
               const std::vector<Likelihood>& of_pair) {
  Likelihood early = Likelihood::Zero(), late = Likelihood::Zero();
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    if (pairs[n].second < from) early += of_pair[n];
    if (pairs[n].first >= from) late += of_pair[n];
  }
  int one = 0, a = 0, b = 0;
  (early + late).maxCoeff(&one);
  Split split{from, 0, early.maxCoeff(&a) + late.maxCoeff(&b), 0, 0};
  split.moved_mm = (place(b) - place(a)).norm();
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    const bool is_early = pairs[n].second < from, is_late = pairs[n].first >= from;
    if ((!is_early && !is_late) || pairs[n].angle < kWide) continue;
    ++split.witnesses;
    split.gain += std::clamp(of_pair[n][is_early ? a : b] - of_pair[n][one], -kWitness, kWitness);
  }
  return split;
}

}  // namespace

std::optional<std::size_t> form_moved(const std::vector<PairPoints>& pairs, std::size_t photos,
                                      const Profile& profile, const Seat& seat, int threads) {
  std::vector<Likelihood> of_pair(pairs.size());
  parallel_for(pairs.size(), threads,
               [&](std::size_t n) { of_pair[n] = likelihood_of(pairs[n], profile, seat); });
  std::vector<Split> splits;
  for (std::size_t from = 2; from + 2 <= photos; ++from) splits.push_back(split_at(from, pairs, of_pair));
  double most = 0;
  for (const Split& s : splits) most = std::max(most, s.sure() ? s.gain : 0.0);
  // Splits some photos from the true one gain nearly as much: of those the one whose parts agree best with
  // themselves.
  constexpr double kNearly = 0.8;
  const Split* best = nullptr;
  for (const Split& s : splits) {
    if (s.sure() && s.gain >= kNearly * most && (!best || s.apart > best->apart)) best = &s;
  }
  return best ? std::optional(best->from) : std::nullopt;
}

}  // namespace interstice
