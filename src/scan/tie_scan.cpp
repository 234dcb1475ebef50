#include "scan/tie_scan.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "camera/cards.h"
#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "scan/bundle.h"
#include "scan/camera_effects.h"
#include "scan/features.h"
#include "scan/length_check.h"
#include "scan/mistakes.h"
#include "scan/pose_covariance.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr int kFirstFeatures = 2500, kAllFeatures = 7000;
constexpr std::size_t kMostTracks = 4000;
constexpr double kMostMissed = 0.05;  // of the space searched: what a photo's own work may leave out
// The cost of the adjustment (half the sum of squared residuals) is several thousand. While mistaken ties are
// thrown out, steps that gain less than about one of it are not worth taking; at the end a thousandth of that.
constexpr double kRoughTolerance = 1e-4, kFineTolerance = 1e-7;
constexpr const char* kUnsettled =
    "the cards in the photos do not settle where they were taken from; photograph again with two in each "
    "photo";

// Where features are worth looking for: the space round the place the photos look at, less the cards.
cv::Mat search_mask(const camera::Lens& lens, const Isometry3d& camera_T_bench, const CardScan& cards,
                    const SearchSpace& space) {
  cv::Mat mask = cylinder_mask(lens, camera_T_bench * cards.level_T_bench.inverse(), cards.aim_mm, space);
  for (const Isometry3d& card : cards.solution.poses.bundle.bench_T_card)
    leave_out_sheet(lens, camera_T_bench * card, mask);
  return mask;
}

// `find`: features of the photo of this number inside a mask, or inside more than it.
template <class Find>
std::vector<TiePhoto> photos_with_features(const CardScan& cards, const SearchSpace& space, int threads,
                                           const Find& find) {
  const Bundle& bundle = cards.solution.poses.bundle;
  std::vector<TiePhoto> photos(cards.used.size());
  core::parallel_for(photos.size(), threads, [&](std::size_t i) {
    TiePhoto& photo = photos[i];
    photo.lens = lens_of_photo(bundle, geometry::PhotoIndex(i));
    photo.camera_T_bench = bundle.camera_T_bench[geometry::PhotoIndex(i)];
    const cv::Mat mask = search_mask(photo.lens, photo.camera_T_bench, cards, space);
    photo.features = ready_to_compare(strongest(inside(find(i, mask), mask), kAllFeatures));
  });
  return photos;
}

void add_tracks(Bundle& bundle, std::vector<Track> tracks, const std::vector<TiePhoto>& photos) {
  std::stable_sort(tracks.begin(), tracks.end(),
                   [](const Track& a, const Track& b) { return a.features.size() > b.features.size(); });
  if (tracks.size() > kMostTracks) tracks.resize(kMostTracks);
  bundle.points = {};
  bundle.ties.clear();
  for (const Track& track : tracks) {
    const PointIndex point = bundle.points.push_back(track.p_bench);
    for (const auto& [p, f] : track.features) {
      bundle.ties.push_back(
          {geometry::PhotoIndex(p), point, photos[p].features.pixel[f], photos[p].features.sd_px[f]});
    }
  }
}

// Corners that did not fit while cards were taken for flat and fit now. Of cards that nothing else holds any more, none.
void take_back(const std::vector<CornerObservation>& set_aside, const BundleSummary& summary,
               Bundle& bundle) {
  std::vector<bool> held(bundle.bench_T_card.size());
  for (const CornerObservation& o : bundle.corners) held[o.card.value] = true;
  for (const CornerObservation& o : set_aside) {
    if (held[o.card.value] && !is_mistake(bundle, o, summary.corner_factor)) bundle.corners.push_back(o);
  }
}

// Everything in one adjustment, mistaken observations thrown out on the way.
BundleSummary adjust_ties(CardSolution& solution) {
  constexpr int kRounds = 2;
  Bundle& bundle = solution.poses.bundle;
  BundleOptions& options = solution.options;
  BundleSummary summary;
  const auto round = [&](double tolerance) {
    options.tolerance = tolerance;
    summary = adjust(bundle, options);
    reject_mistakes(bundle, bundle.ties, summary.tie_factor);
    reject_mistakes(bundle, bundle.corners, summary.corner_factor);
    drop_lonely_points(bundle);
    drop_unsettled_cards(bundle);
  };
  round(kRoughTolerance);
  const double plain_factor = summary.corner_factor;
  summary = learn_camera_effects(bundle, options, summary);
  if (options.bend_prior_sd_per_mm > 0) {
    take_back(solution.set_aside, summary, bundle);
    summary = adjust(bundle, options);
  }
  // The corners' noise was widened for what the effects did; it is narrowed by as much as they now explain.
  for (CornerObservation& o : bundle.corners) {
    o.sd_px = std::max(o.least_sd_px, o.sd_px * std::min(1.0, summary.corner_factor / plain_factor));
  }
  for (TieObservation& o : bundle.ties) o.sd_px *= std::max(0.3, summary.tie_factor);
  for (int i = 1; i <= kRounds; ++i) round(i < kRounds ? kRoughTolerance : kFineTolerance);
  return summary;
}

// Photos that kept too few corners for a pose are named; which are kept.
std::vector<bool> leave_out_unsettled(Bundle& bundle, const std::vector<Candidate>& used, Scan& scan) {
  std::vector<std::size_t> corners(used.size(), 0);
  for (const CornerObservation& o : bundle.corners) ++corners[o.photo.value];
  std::vector<bool> kept(used.size(), true);
  for (std::size_t i = 0; i < used.size(); ++i) {
    if (corners[i] >= kPoseCorners) continue;
    kept[i] = false;
    scan.left_out.push_back({used[i].info.name, "its cards do not fit the pieces as other photos show them"});
  }
  std::erase_if(bundle.corners, [&](const CornerObservation& o) { return !kept[o.photo.value]; });
  return kept;
}

// Standard deviation, pixels, of where a photo shows the form's pole and rim, by what is not known of its own place.
double place_sd_px(const ScannedPhoto& photo, const geometry::Profile& form) {
  constexpr int kRound = 8;
  const Vector2d rim = form.points().back();
  std::vector<Vector3d> points{{0, 0, form.points().front().y()}};
  for (int k = 0; k < kRound; ++k) {
    const double a = 2 * std::numbers::pi * k / kRound;
    points.emplace_back(rim.x() * std::cos(a), rim.x() * std::sin(a), rim.y());
  }
  double variance = 0;
  for (const Vector3d& point : points) {
    const Vector3d p = photo.camera_T_bowl * point;
    Eigen::Matrix<double, 2, 3> px_per_mm;
    px_per_mm << 1, 0, -p.x() / p.z(), 0, 1, -p.y() / p.z();
    px_per_mm *= photo.lens.fx / p.z();
    const Eigen::Matrix<double, 2, 7> by = px_per_mm * photo.moved_by_errors(point);
    variance += (by * photo.covariance * by.transpose()).trace() / 2 / static_cast<double>(points.size());
  }
  return std::sqrt(variance);
}

// Photos whose place is known to no pixel, and far less well than the others', are named and left out: patches of the
// surface are compared, and edges read, to a fraction of one.
void leave_out_unsure(const geometry::Profile& form, Scan& scan) {
  constexpr double kMost_px = 1, kMostOfUsual = 3;
  std::vector<double> sd;
  for (const ScannedPhoto& photo : scan.photos) sd.push_back(place_sd_px(photo, form));
  const double most = std::max(kMost_px, kMostOfUsual * core::median(sd));
  geometry::IndexedVector<geometry::PhotoIndex, ScannedPhoto> kept;
  for (const geometry::PhotoIndex i : scan.photos.indices()) {
    if (sd[i.value] <= most) {
      kept.push_back(std::move(scan.photos[i]));
    } else {
      scan.left_out.push_back(
          {scan.photos[i].info.name, "shows too little of the cards to tell where it was taken from"});
    }
  }
  scan.photos = std::move(kept);
}

void note_quality(const CardScan& cards, Scan& scan) {
  const Bundle& bundle = cards.solution.poses.bundle;
  const BundleSummary& summary = cards.solution.summary;
  scan.quality.reprojection_rms_px = summary.corner_rms_px;
  scan.quality.tie_rms_px = summary.tie_rms_px;
  scan.quality.tie_points = bundle.points.size();
  const LengthCheck check = check_lengths(bundle, cards.solution.options);
  if (check.lengths > 0) {
    scan.quality.length_error_mm = check.largest_error_mm;
    scan.quality.longest_length_mm = check.longest_mm;
  }
}

}  // namespace

std::vector<TiePhoto> tie_features(const CardScan& cards, const SearchSpace& space, camera::PhotoStore& store,
                                   int threads) {
  return photos_with_features(cards, space, threads, [&](std::size_t i, const cv::Mat& mask) {
    return find_features(store.grey(cards.used[i].info), mask, kAllFeatures);
  });
}

std::vector<TiePhoto> tie_own_features(const CardScan& cards, const SearchSpace& space,
                                       camera::PhotoStore& store, int threads) {
  return photos_with_features(cards, space, threads, [&](std::size_t i, const cv::Mat& mask) {
    const Candidate& photo = cards.used[i];
    const cv::Mat region = photo.work->region(photo.views, space);
    const int missed = cv::countNonZero(mask & ~region);
    if (missed > kMostMissed * cv::countNonZero(mask))
      return find_features(store.grey(photo.info), mask, kAllFeatures);
    return photo.work->features(region, photo.views, space, store);
  });
}

std::vector<TiePhoto> features_within(const CardScan& cards, const std::vector<TiePhoto>& photos,
                                      const SearchSpace& space) {
  std::vector<TiePhoto> out;
  for (const TiePhoto& photo : photos) {
    const cv::Mat mask = search_mask(photo.lens, photo.camera_T_bench, cards, space);
    out.push_back({photo.lens, photo.camera_T_bench, inside(photo.features, mask)});
  }
  return out;
}

std::vector<Vector3d> points_on_bench(const CardScan& cards, const std::vector<TiePhoto>& photos,
                                      int threads) {
  std::vector<TiePhoto> few = photos;
  for (TiePhoto& photo : few) photo.features = strongest(photo.features, kFirstFeatures);
  std::vector<Vector3d> points = points_of(match_neighbours(few, threads));
  for (Vector3d& p : points) p = cards.level_T_bench * p;
  return points;
}

void tie_photos(CardScan& cards, const std::vector<TiePhoto>& photos, const geometry::Profile& form,
                double thickness_mm, const Isometry3d& bowl_T_level, const ScanOptions& options, Scan& scan) {
  options.progress("tying the photos together");
  Bundle& bundle = cards.solution.poses.bundle;
  BundleOptions& bundle_options = cards.solution.options;
  const Isometry3d bowl_T_bench = bowl_T_level * cards.level_T_bench;
  add_tracks(bundle, match_on_form(photos, {form, thickness_mm, bowl_T_bench}, options.threads), photos);
  cards.solution.summary = adjust_ties(cards.solution);
  const std::vector<bool> kept = leave_out_unsettled(bundle, cards.used, scan);
  const auto settled = pose_covariances(bundle, bundle_options);
  const auto covariances = pose_covariances(bundle, bundle_options, Shared::held);
  std::vector<double> footprints;
  for (std::size_t i = 0; i < cards.used.size(); ++i) {
    if (!kept[i]) continue;
    if (!(settled[geometry::PhotoIndex(i)](3, 3) > 0)) throw core::MeasureError(kUnsettled);
    ScannedPhoto photo;
    photo.info = cards.used[i].info;
    photo.lens = lens_of_photo(bundle, geometry::PhotoIndex(i));
    photo.camera_T_bowl = bundle.camera_T_bench[geometry::PhotoIndex(i)] * bowl_T_bench.inverse();
    photo.covariance =
        about_camera(covariances[geometry::PhotoIndex(i)], bundle.camera_T_bench[geometry::PhotoIndex(i)]);
    const double distance = (photo.camera_T_bowl * Vector3d(0, 0, form.points().front().y() / 2)).norm() -
                            form.points().back().x();
    footprints.push_back(distance / photo.lens.fx);
    scan.photos.push_back(std::move(photo));
  }
  leave_out_unsure(form, scan);
  for (const Vector3d& p : bundle.points) scan.points.push_back(bowl_T_bench * p);
  scan.quality.pixel_footprint_mm = core::median(footprints);
  note_quality(cards, scan);
}

}  // namespace interstice::scan
