#include "scan/scan.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "camera/cards.h"
#include "core/errors.h"
#include "core/median.h"
#include "core/name_check.h"
#include "core/parallel.h"
#include "scan/bundle.h"
#include "scan/card_poses.h"
#include "scan/cards_agree.h"
#include "scan/form_pose.h"
#include "scan/length_check.h"
#include "scan/photo_lenses.h"
#include "scan/tie_points.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Calipers on a printed line: resolution and placing on the end ticks, 0.05 mm standard (common practice, no
// source). Without a measured line the printer may be off by about 1 % (common practice, no source).
constexpr double kCaliperSd_mm = 0.05;
constexpr double kUnmeasuredPrintSd = 0.01;
constexpr int kFirstFeatures = 2500, kAllFeatures = 7000;
constexpr std::size_t kMostTracks = 4000;
constexpr double kReject = 4.5;  // residuals beyond this many robust standard deviations are mistakes
// The cost of the adjustment (half the sum of squared residuals) is several thousand. While mistaken ties are
// thrown out, steps that gain less than about one of it are not worth taking; at the end a thousandth of that.
constexpr double kRoughTolerance = 1e-4, kFineTolerance = 1e-7;
constexpr const char* kUnsettled =
    "the cards in the photos do not settle where they were taken from; photograph again with two in each photo";
constexpr double kFocusPriorSd = 0.003;  // refocusing between near and far edge of a bowl at arm's length

struct Candidate {  // a readable photo
  camera::PhotoInfo info;
  StartLens lens;
  std::vector<camera::CardView> views;
};

bool has_exif(const camera::PhotoInfo& info) {
  return !info.camera.empty() || info.focal_mm || info.focal_35mm;
}

// The same picture again: copied, sent twice, resized. Two shots by hand never put all corners of the cards
// on the same pixels; corners themselves are good to a tenth of a pixel, after another compression to two or
// three. Counted twice it would make every width look surer than it is.
bool same_picture(const Candidate& a, const Candidate& b) {
  constexpr double kSame_px = 0.35;
  constexpr std::size_t kFew = 8;
  const double scale = double(a.info.width) / b.info.width;
  double squares = 0;
  std::size_t shared = 0;
  for (const camera::CardView& v : a.views) {
    for (const camera::CardView& w : b.views) {
      if (v.card != w.card) continue;
      for (std::size_t i = 0; i < v.corner_id.size(); ++i) {
        const auto it = std::find(w.corner_id.begin(), w.corner_id.end(), v.corner_id[i]);
        if (it == w.corner_id.end()) continue;
        const Vector2d q = w.pixel[static_cast<std::size_t>(it - w.corner_id.begin())];
        const Vector2d half(0.5, 0.5);
        squares += (v.pixel[i] - (scale * (q + half) - half)).squaredNorm();
        ++shared;
      }
    }
  }
  return shared >= kFew && squares <= double(shared) * kSame_px * kSame_px * std::max(1.0, scale * scale);
}

// Leaves out, and names, every photo that repeats an earlier one.
std::vector<Candidate> without_doubles(std::vector<Candidate> all, Scan& scan) {
  std::vector<Candidate> kept;
  for (Candidate& c : all) {
    const auto first =
        std::find_if(kept.begin(), kept.end(), [&](const Candidate& k) { return same_picture(k, c); });
    if (first == kept.end()) {
      kept.push_back(std::move(c));
    } else {
      scan.left_out.push_back({c.info.name, "is the same picture as " + first->info.name});
    }
  }
  return kept;
}

std::vector<Candidate> read_photos(const std::filesystem::path& folder, const ScanOptions& options,
                                   Scan& scan) {
  const std::vector<std::filesystem::path> paths = camera::list_photos(folder);
  scan.quality.photos_given = static_cast<int>(paths.size());
  std::vector<std::optional<Candidate>> read(paths.size());
  std::vector<std::string> failed(paths.size());
  core::parallel_for(paths.size(), options.threads, [&](std::size_t i) {
    try {
      Candidate c;
      c.info = camera::read_photo_info(paths[i]);
      c.lens = start_lens(c.info, options.lens);
      c.views = camera::detect_cards(scan.store->grey(c.info));
      read[i] = std::move(c);
    } catch (const camera::PhotoError& e) {
      failed[i] = e.reason();
    }
  });
  std::vector<Candidate> out;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    if (read[i])
      out.push_back(std::move(*read[i]));
    else
      scan.left_out.push_back({core::escaped(paths[i].stem().string()), failed[i]});
  }
  if (out.empty()) {
    throw core::InputError(folder.string(), "none of its photos can be read (" + scan.left_out.front().photo +
                                                ": " + scan.left_out.front().reason + ")");
  }
  return out;
}

template <class Observation>
std::size_t reject_mistakes(const Bundle& bundle, std::vector<Observation>& observations, double factor) {
  const auto bad = [&](const Observation& o) {
    const Vector2d r = residual(bundle, o);
    return !(r.norm() < kReject * std::max(0.5, factor) * o.sd_px);
  };
  const std::size_t before = observations.size();
  observations.erase(std::remove_if(observations.begin(), observations.end(), bad), observations.end());
  return before - observations.size();
}

// Where features are worth looking for: the outline of a cylinder round the place the photos look at, less
// the cards.
cv::Mat search_mask(const camera::Lens& lens, const Isometry3d& camera_T_bench, const Bundle& bundle,
                    const Isometry3d& level_T_b, const Vector2d& aim_level, double radius, double height) {
  cv::Mat mask = cv::Mat::zeros(lens.height, lens.width, CV_8U);
  const Isometry3d camera_T_level = camera_T_bench * level_T_b.inverse();
  std::vector<cv::Point> hull, points;
  for (const double z : {0.0, height}) {
    for (int k = 0; k < 36; ++k) {
      const double a = k * std::numbers::pi / 18;
      const Vector2d uv = lens.project(camera_T_level * Vector3d(aim_level.x() + radius * std::cos(a),
                                                                 aim_level.y() + radius * std::sin(a), z));
      if (!uv.allFinite()) return cv::Mat(lens.height, lens.width, CV_8U, cv::Scalar(255));
      points.emplace_back(static_cast<int>(std::clamp(uv.x(), -1e5, 1e5)),
                          static_cast<int>(std::clamp(uv.y(), -1e5, 1e5)));
    }
  }
  cv::convexHull(points, hull);
  cv::fillConvexPoly(mask, hull, 255);
  for (const Isometry3d& card : bundle.bench_T_card) {
    std::vector<cv::Point> sheet;
    for (const auto& [sx, sy] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
      const Vector2d uv =
          lens.project(camera_T_bench *
                       (card * Vector3d(sx * camera::kSheetWidthMm / 2, sy * camera::kSheetHeightMm / 2, 0)));
      if (!uv.allFinite()) break;
      sheet.emplace_back(static_cast<int>(uv.x()), static_cast<int>(uv.y()));
    }
    if (sheet.size() == 4) cv::fillConvexPoly(mask, sheet, 0);
  }
  return mask;
}

Isometry3d bowl_T_level(const Seat& seat) {
  Isometry3d t = Isometry3d::Identity();
  t.translation() = -Vector3d(seat.axis_mm.x(), seat.axis_mm.y(), 0);
  return t;
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

// Whether the photos' focal lengths differ by more than their uncertainty: then each keeps its own, otherwise
// one focal length serves all, which leaves every pose better determined.
bool refocused(const Bundle& bundle, const BundleOptions& options) {
  // With the lens held: a focal length common to all photos is the lens's, only the differences count here.
  BundleOptions held = options;
  held.free_lens = false;
  const auto covariance = pose_covariances(bundle, held);
  double weights = 0, mean = 0, chi2 = 0;
  for (std::size_t i = 0; i < bundle.focus.size(); ++i) {
    const double var = covariance[geometry::PhotoIndex(i)](6, 6);
    if (!(var > 0)) return true;
    weights += 1 / var;
    mean += bundle.focus[geometry::PhotoIndex(i)] / var;
  }
  mean /= weights;
  for (std::size_t i = 0; i < bundle.focus.size(); ++i) {
    chi2 +=
        std::pow(bundle.focus[geometry::PhotoIndex(i)] - mean, 2) / covariance[geometry::PhotoIndex(i)](6, 6);
  }
  // Mean of chi-squared is n - 1, its standard deviation sqrt(2 (n - 1)).
  const double n = static_cast<double>(bundle.focus.size()) - 1;
  return chi2 > n + 3 * std::sqrt(2 * n);
}

// The whole adjustment on cards: groups, solves, throws out mistaken corners, solves again.
BundleSummary adjust_cards(Bundle& bundle, BundleOptions& options,
                           const std::vector<const Candidate*>& used) {
  std::vector<PhotoLens> lenses;
  for (const Candidate* c : used) lenses.push_back({&c->info, &c->lens});
  options.each_lens_prior_sd = group_lenses(bundle, lenses);
  options.focus_prior_sd = 0;
  BundleSummary summary = adjust(bundle, options);
  options.focus_prior_sd = kFocusPriorSd;
  for (int round = 0; round < 3; ++round) {
    summary = adjust(bundle, options);
    if (reject_mistakes(bundle, bundle.corners, summary.corner_factor) == 0) break;
    drop_unsettled_cards(bundle);
  }
  for (CornerObservation& o : bundle.corners) o.sd_px *= std::max(1.0, summary.corner_factor);
  if (!refocused(bundle, options)) {
    options.focus_prior_sd = 0;
    for (double& f : bundle.focus) f = 1.0;
    summary = adjust(bundle, options);
  }
  return summary;
}

// Positions from the cards that agree with each other; what does not is left out and named.
CardSolution solve_cards(const std::vector<Candidate>& candidates, const std::vector<PhotoCards>& photo_cards,
                         double print_scale, int threads, Scan& scan) {
  const auto solve = [&](const std::vector<PhotoCards>& photos) {
    CardSolution s{poses_from_cards(photos, print_scale), {}, {}};
    s.options.threads = threads;
    std::vector<const Candidate*> used;
    for (const std::size_t i : s.poses.photos) used.push_back(&candidates[i]);
    s.summary = adjust_cards(s.poses.bundle, s.options, used);
    return s;
  };
  AgreedCards agreed = solve_agreeing_cards(photo_cards, print_scale, solve,
                                            [&](std::size_t i) { return candidates[i].info.name; });
  for (const OddCard& odd : agreed.odd_cards)
    scan.left_out.push_back({"card " + std::to_string(odd.card), odd.reason});
  for (const auto* list : {&agreed.odd_photos, &agreed.solution.poses.left_out}) {
    for (const LeftOutPhoto& out : *list)
      scan.left_out.push_back({candidates[out.photo].info.name, out.reason});
  }
  return std::move(agreed.solution);
}

std::vector<TiePhoto> features_of(const Bundle& bundle, const std::vector<const Candidate*>& used,
                                  const plan::Plan& plan, const Isometry3d& level, const Vector2d& aim,
                                  camera::PhotoStore& store, const ScanOptions& options) {
  const double reach = plan.profile.points().back().x() + plan.tile_thickness_mm;
  const double height = plan.profile.points().front().y() + plan.tile_thickness_mm;
  std::vector<TiePhoto> photos(used.size());
  core::parallel_for(used.size(), options.threads, [&](std::size_t i) {
    TiePhoto& photo = photos[i];
    photo.lens = lens_of_photo(bundle, geometry::PhotoIndex(i));
    photo.camera_T_bench = bundle.camera_T_bench[geometry::PhotoIndex(i)];
    const cv::Mat mask =
        search_mask(photo.lens, photo.camera_T_bench, bundle, level, aim, 1.35 * reach, 1.1 * height);
    photo.features = find_features(store.grey(used[i]->info), mask, kAllFeatures);
  });
  return photos;
}

// Everything in one adjustment, mistaken observations thrown out on the way.
BundleSummary adjust_ties(Bundle& bundle, BundleOptions options) {
  constexpr int kRounds = 3;
  BundleSummary summary;
  for (int round = 1; round <= kRounds; ++round) {
    options.tolerance = round < kRounds ? kRoughTolerance : kFineTolerance;
    summary = adjust(bundle, options);
    reject_mistakes(bundle, bundle.ties, summary.tie_factor);
    reject_mistakes(bundle, bundle.corners, summary.corner_factor);
    drop_lonely_points(bundle);
    drop_unsettled_cards(bundle);
    if (round > 1) continue;
    for (TieObservation& o : bundle.ties) o.sd_px *= std::max(0.3, summary.tie_factor);
  }
  return summary;
}

// Photos that kept too few corners for a pose are named; which are kept.
std::vector<bool> leave_out_unsettled(Bundle& bundle, const std::vector<const Candidate*>& used, Scan& scan) {
  std::vector<std::size_t> corners(used.size(), 0);
  for (const CornerObservation& o : bundle.corners) ++corners[o.photo.value];
  std::vector<bool> kept(used.size(), true);
  for (std::size_t i = 0; i < used.size(); ++i) {
    if (corners[i] >= kPoseCorners) continue;
    kept[i] = false;
    scan.left_out.push_back(
        {used[i]->info.name, "its cards do not fit the pieces as other photos show them"});
  }
  std::erase_if(bundle.corners, [&](const CornerObservation& o) { return !kept[o.photo.value]; });
  return kept;
}

std::vector<TiePhoto> strongest(const std::vector<TiePhoto>& photos, int most) {
  std::vector<TiePhoto> few = photos;  // features come sorted by no particular rule: keep every n-th
  for (TiePhoto& p : few) {
    const int n = p.features.descriptors.rows;
    if (n <= most) continue;
    p.features.descriptors = p.features.descriptors.rowRange(0, most);
    p.features.pixel.resize(static_cast<std::size_t>(most));
    p.features.sd_px.resize(static_cast<std::size_t>(most));
  }
  return few;
}

}  // namespace

Scan scan_photos(const std::filesystem::path& folder, const plan::Plan& plan, const ScanOptions& options) {
  Scan scan;
  scan.quality.check_line_given = options.check_line_mm.has_value();
  scan.quality.lens_given = options.lens.has_value();
  const double print_scale = options.check_line_mm.value_or(camera::kCheckLineMm) / camera::kCheckLineMm;
  scan.quality.scale_sd = options.check_line_mm ? kCaliperSd_mm / *options.check_line_mm : kUnmeasuredPrintSd;
  options.progress("reading the photos and looking for cards");
  const std::vector<Candidate> candidates = without_doubles(read_photos(folder, options, scan), scan);
  std::vector<PhotoCards> photo_cards;
  for (std::size_t i = 0; i < candidates.size(); ++i)
    photo_cards.push_back({i, candidates[i].lens.lens, candidates[i].views, has_exif(candidates[i].info)});
  options.progress("solving the photos' positions");
  CardSolution solution = solve_cards(candidates, photo_cards, print_scale, options.threads, scan);
  std::vector<const Candidate*> used;
  for (const std::size_t i : solution.poses.photos) used.push_back(&candidates[i]);
  Bundle& bundle = solution.poses.bundle;
  const BundleOptions& bundle_options = solution.options;
  BundleSummary& summary = solution.summary;

  options.progress("finding the form");
  const Isometry3d level = level_T_bench(bundle);
  std::vector<Vector3d> origins, axes;
  for (const Isometry3d& t : bundle.camera_T_bench) {
    const Isometry3d level_T_camera = level * t.inverse();
    origins.push_back(level_T_camera.translation());
    axes.push_back(level_T_camera.linear() * Vector3d::UnitZ());
  }
  const Vector2d aim = intersect_rays(origins, axes).head<2>();
  std::vector<TiePhoto> photos = features_of(bundle, used, plan, level, aim, *scan.store, options);
  scan.store->forget_grey();
  std::vector<PairPoints> pairs = match_neighbours(strongest(photos, kFirstFeatures), options.threads);
  for (PairPoints& pair : pairs) {
    for (Vector3d& p : pair.points) p = level * p;
  }
  const Seat seat = find_seat(points_of(pairs), plan.profile, plan.tile_thickness_mm, aim, options.threads);
  const Isometry3d bowl_T_bench = bowl_T_level(seat) * level;

  options.progress("tying the photos together");
  add_tracks(bundle,
             match_on_form(photos, {plan.profile, plan.tile_thickness_mm, bowl_T_bench}, options.threads),
             photos);
  summary = adjust_ties(bundle, bundle_options);
  const std::vector<bool> kept = leave_out_unsettled(bundle, used, scan);
  const auto settled = pose_covariances(bundle, bundle_options);
  const auto covariances = pose_covariances(bundle, bundle_options, Shared::held);
  std::vector<double> footprints;
  for (std::size_t i = 0; i < used.size(); ++i) {
    if (!kept[i]) continue;
    if (!(settled[geometry::PhotoIndex(i)](3, 3) > 0)) throw core::MeasureError(kUnsettled);
    ScannedPhoto photo;
    photo.info = used[i]->info;
    photo.lens = lens_of_photo(bundle, geometry::PhotoIndex(i));
    photo.camera_T_bowl = bundle.camera_T_bench[geometry::PhotoIndex(i)] * bowl_T_bench.inverse();
    photo.covariance = covariances[geometry::PhotoIndex(i)];
    const double distance =
        (photo.camera_T_bowl * Vector3d(0, 0, plan.profile.points().front().y() / 2)).norm() -
        plan.profile.points().back().x();
    footprints.push_back(distance / photo.lens.fx);
    scan.photos.push_back(std::move(photo));
  }
  for (const Vector3d& p : bundle.points) scan.points.push_back(bowl_T_bench * p);
  scan.quality.reprojection_rms_px = summary.corner_rms_px;
  scan.quality.tie_rms_px = summary.tie_rms_px;
  scan.quality.tie_points = bundle.points.size();
  scan.quality.pixel_footprint_mm = core::median(footprints);
  const LengthCheck check = check_lengths(bundle, bundle_options);
  if (check.lengths > 0) {
    scan.quality.length_error_mm = check.largest_error_mm;
    scan.quality.longest_length_mm = check.longest_mm;
  }
  return scan;
}

void turn_scan(Scan& scan, double angle) {
  const Eigen::AngleAxisd turn(angle, Vector3d::UnitZ());
  for (ScannedPhoto& photo : scan.photos) photo.camera_T_bowl = photo.camera_T_bowl * turn;
  for (Vector3d& p : scan.points) p = turn.inverse() * p;
}

}  // namespace interstice::scan
