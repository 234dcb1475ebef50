#include "scan/card_scan.h"

#include <algorithm>
#include <cmath>

#include "camera/cards.h"
#include "core/chi_squared.h"
#include "core/errors.h"
#include "core/name_check.h"
#include "core/parallel.h"
#include "scan/carried_size.h"
#include "scan/mistakes.h"
#include "scan/pose_covariance.h"
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
constexpr double kFocusPriorSd = 0.003;  // refocusing between near and far edge of a bowl at arm's length

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
                                   Scan& scan, const core::KeptWork* kept) {
  const std::vector<std::filesystem::path> paths = camera::list_photos(folder);
  scan.quality.photos_given = static_cast<int>(paths.size());
  std::vector<std::string> failed(paths.size());
  std::vector<std::optional<camera::PhotoInfo>> infos(paths.size());
  core::parallel_for(paths.size(), options.threads, [&](std::size_t i) {
    try {
      infos[i] = camera::read_photo_info(paths[i]);
    } catch (const camera::PhotoError& e) {
      failed[i] = e.reason();
    }
  });
  scan.quality.pixels_note = carry_resolved_pixels(infos, kept, options.threads);
  std::vector<std::optional<Candidate>> read(paths.size());
  core::parallel_for(paths.size(), options.threads, [&](std::size_t i) {
    if (!infos[i]) return;
    try {
      Candidate c;
      c.info = *infos[i];
      c.lens = start_lens(c.info, options.lens);
      c.work = std::make_shared<PhotoWork>(c.info, c.lens.lens, kept);
      c.views = c.work->cards(*scan.store);
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
  return core::more_than_noise(chi2, static_cast<double>(bundle.focus.size()) - 1);
}

// The whole adjustment on cards: groups, solves, sets mistaken corners aside, solves again.
void adjust_cards(CardSolution& solution, const std::vector<const Candidate*>& used) {
  Bundle& bundle = solution.poses.bundle;
  BundleOptions& options = solution.options;
  BundleSummary& summary = solution.summary;
  std::vector<PhotoLens> lenses;
  for (const Candidate* c : used) lenses.push_back({&c->info, &c->lens});
  options.each_lens_prior_sd = group_lenses(bundle, lenses);
  options.focus_prior_sd = 0;
  adjust(bundle, options);
  options.focus_prior_sd = kFocusPriorSd;
  for (int round = 0; round < 3; ++round) {
    summary = adjust(bundle, options);
    const auto mistaken = reject_mistakes(bundle, bundle.corners, summary.corner_factor);
    solution.set_aside.insert(solution.set_aside.end(), mistaken.begin(), mistaken.end());
    if (mistaken.empty()) break;
    drop_unsettled_cards(bundle);
  }
  for (auto* corners : {&bundle.corners, &solution.set_aside}) {
    for (CornerObservation& o : *corners) o.sd_px *= std::max(1.0, summary.corner_factor);
  }
  if (!refocused(bundle, options)) {
    options.focus_prior_sd = 0;
    for (double& f : bundle.focus) f = 1.0;
    summary = adjust(bundle, options);
  }
}

// Positions from the cards that agree with each other; what does not is left out and named.
CardSolution solve_cards(const std::vector<Candidate>& candidates, const std::vector<PhotoCards>& photo_cards,
                         double print_scale, int threads, Scan& scan) {
  const auto solve = [&](const std::vector<PhotoCards>& photos) {
    CardSolution s{poses_from_cards(photos, print_scale), {}, {}, {}};
    s.options.threads = threads;
    std::vector<const Candidate*> used;
    for (const std::size_t i : s.poses.photos) used.push_back(&candidates[i]);
    adjust_cards(s, used);
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

}  // namespace

CardScan scan_cards(const std::filesystem::path& folder, const ScanOptions& options, Scan& scan,
                    const core::KeptWork* kept) {
  scan.quality.check_line_given = options.check_line_mm.has_value();
  scan.quality.lens_given = options.lens.has_value();
  const double print_scale = options.check_line_mm.value_or(camera::kCheckLineMm) / camera::kCheckLineMm;
  scan.quality.scale_sd = options.check_line_mm ? kCaliperSd_mm / *options.check_line_mm : kUnmeasuredPrintSd;
  options.progress("reading the photos and looking for cards");
  const std::vector<Candidate> candidates = without_doubles(read_photos(folder, options, scan, kept), scan);
  std::vector<PhotoCards> photo_cards;
  std::vector<StartLens> starts;
  for (const Candidate& c : candidates) starts.push_back(c.lens);
  scan.quality.lens_note = lens_file_note(options.lens, starts);
  for (std::size_t i = 0; i < candidates.size(); ++i)
    photo_cards.push_back({i, candidates[i].lens.lens, candidates[i].views, has_exif(candidates[i].info)});
  options.progress("solving the photos' positions");
  CardScan cards;
  cards.solution = solve_cards(candidates, photo_cards, print_scale, options.threads, scan);
  for (const std::size_t i : cards.solution.poses.photos) cards.used.push_back(candidates[i]);
  const Bundle& bundle = cards.solution.poses.bundle;
  cards.level_T_bench = level_T_bench(bundle);
  std::vector<Vector3d> origins, axes;
  for (const Isometry3d& t : bundle.camera_T_bench) {
    const Isometry3d level_T_camera = cards.level_T_bench * t.inverse();
    origins.push_back(level_T_camera.translation());
    axes.push_back(level_T_camera.linear() * Vector3d::UnitZ());
  }
  cards.aim_mm = intersect_rays(origins, axes).head<2>();
  return cards;
}

}  // namespace interstice::scan
