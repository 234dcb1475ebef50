#include "scan/cards_agree.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <set>

#include "core/errors.h"
#include "core/median.h"
#include "scan/card_diagnosis.h"
#include "scan/photo_focal_check.h"
#include "scan/solved_places.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// As far off as a single mistaken corner (scan.cpp), but in the median over a card's corners.
constexpr double kOff = 4.5;
// The photos with most views off that are tried first: every trial solves all positions again.
constexpr std::size_t kPhotosTried = 3;

using View = std::pair<std::size_t, int>;  // photo, by the caller's number, and card

// Median distance of a view's corners from where `camera_T_card` and the lens put them.
struct Miss {
  double px = 0, normed = 0;  // pixels; units of the corners' standard deviations
};

Miss miss_of(const camera::CardView& view, const camera::Lens& lens, const Isometry3d& camera_T_card,
             double print_scale) {
  std::vector<double> px, normed;
  for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
    const Vector2d r =
        view.pixel[i] - lens.project(camera_T_card * (print_scale * camera::card_point(view.corner_id[i])));
    px.push_back(r.allFinite() ? r.norm() : 1e9);
    normed.push_back(px.back() / view.sd_px[i]);
  }
  return {core::median(px), core::median(normed)};
}

// A small motion: rotation vector, translation.
Isometry3d motion(const Eigen::Matrix<double, 6, 1>& m) {
  Isometry3d t = Isometry3d::Identity();
  const double angle = m.head<3>().norm();
  if (angle > 0) t.linear() = Eigen::AngleAxisd(angle, m.head<3>() / angle).toRotationMatrix();
  t.translation() = m.tail<3>();
  return t;
}

// The card's pose from this view alone, by a few Gauss-Newton steps: what is left is noise, the lens's errors
// and paper that is not flat, wherever the card lies.
Isometry3d own_pose(const camera::CardView& view, const camera::Lens& lens, Isometry3d pose,
                    double print_scale) {
  constexpr int kSteps = 4;
  for (int step = 0; step < kSteps; ++step) {
    Eigen::Matrix<double, 6, 6> normal = Eigen::Matrix<double, 6, 6>::Zero();
    Eigen::Matrix<double, 6, 1> right = Eigen::Matrix<double, 6, 1>::Zero();
    for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
      const Vector3d p = print_scale * camera::card_point(view.corner_id[i]);
      Eigen::Matrix<double, 2, 6> slope;
      for (int k = 0; k < 6; ++k) {
        Eigen::Matrix<double, 6, 1> d = Eigen::Matrix<double, 6, 1>::Zero();
        d[k] = k < 3 ? 1e-6 : 1e-4;
        slope.col(k) =
            (lens.project(pose * (motion(d) * p)) - lens.project(pose * (motion(-d) * p))) / (2 * d[k]);
      }
      const Vector2d r = view.pixel[i] - lens.project(pose * p);
      if (!r.allFinite() || !slope.allFinite()) continue;
      normal += slope.transpose() * slope;
      right += slope.transpose() * r;
    }
    const Eigen::Matrix<double, 6, 1> move = normal.ldlt().solve(right);
    if (!move.allFinite()) break;
    pose = pose * motion(move);
  }
  return pose;
}

// How the views lie in a solution.
struct Fit {
  std::set<View> off;      // off as a whole
  double mean_normed = 0;  // over the views
};

Fit fit_of(const CardSolution& s, const std::vector<PhotoCards>& photos, double print_scale) {
  const Bundle& b = s.poses.bundle;
  const Places places(s.poses);
  std::map<View, Miss> misses;
  std::map<View, double> mm_per_px;
  std::vector<double> own;
  Fit fit;
  for (const PhotoCards& photo : photos) {
    const auto p = places.photo(photo.photo);
    for (const camera::CardView& view : photo.views) {
      const auto c = places.card(view.card);
      if (!p || !c || view.corner_id.size() < kFewCorners) continue;
      const Isometry3d camera_T_card = b.camera_T_bench[*p] * b.bench_T_card[*c];
      const camera::Lens lens = lens_of_photo(b, *p);
      const View name{photo.photo, view.card};
      misses[name] = miss_of(view, lens, camera_T_card, print_scale);
      mm_per_px[name] = camera_T_card.translation().norm() / lens.fx;
      own.push_back(
          miss_of(view, lens, own_pose(view, lens, camera_T_card, print_scale), print_scale).normed);
      fit.mean_normed += misses[name].normed;
    }
  }
  if (!misses.empty()) fit.mean_normed /= static_cast<double>(misses.size());
  const double usual = std::max(1.0, core::median(own));
  for (const auto& [view, miss] : misses) {
    if (miss.normed > kOff * usual && miss.px * mm_per_px[view] > kSheetFlat_mm) fit.off.insert(view);
  }
  return fit;
}

std::vector<PhotoCards> without_card(std::vector<PhotoCards> photos, int card) {
  for (PhotoCards& p : photos)
    std::erase_if(p.views, [&](const camera::CardView& v) { return v.card == card; });
  return photos;
}

std::vector<PhotoCards> without_photo(std::vector<PhotoCards> photos, std::size_t photo) {
  std::erase_if(photos, [&](const PhotoCards& p) { return p.photo == photo; });
  return photos;
}

// A card or a photo left out on trial, and how the others lie without it.
struct Trial {
  std::optional<int> card;
  std::optional<std::size_t> photo;
  std::vector<PhotoCards> photos;
  CardSolution solution;
  Fit fit;
};

// The trial that leaves the others in the best agreement.
std::optional<Trial> best_trial(const std::vector<PhotoCards>& photos, const CardSolution& joint,
                                const std::set<View>& off, double print_scale, const SolveCards& solve) {
  std::optional<Trial> best;
  const auto attempt = [&](Trial t) {
    try {
      t.solution = solve(t.photos);
    } catch (const core::MeasureError&) {
      return;  // the others do not hang together without it
    }
    t.fit = fit_of(t.solution, t.photos, print_scale);
    if (!best || t.fit.mean_normed < best->fit.mean_normed) best = std::move(t);
  };
  std::map<std::size_t, int> photos_off;
  for (const auto& [photo, card] : off) ++photos_off[photo];
  std::vector<std::size_t> worst;
  for (const auto& [photo, n] : photos_off) worst.push_back(photo);
  std::stable_sort(worst.begin(), worst.end(),
                   [&](std::size_t a, std::size_t b) { return photos_off[a] > photos_off[b]; });
  if (worst.size() > kPhotosTried) worst.resize(kPhotosTried);
  for (const std::size_t photo : worst) attempt({{}, photo, without_photo(photos, photo), {}, {}});
  // One photo that explains all is the smaller loss: a card takes its views in all photos with it.
  if (best && best->fit.off.empty()) return best;
  if (joint.poses.cards.size() > 2) {
    for (const int card : joint.poses.cards) attempt({card, {}, without_card(photos, card), {}, {}});
  }
  return best;
}

// Photos whose focal length is not that of the others with the same lens. Without this the adjustment would
// give a cut or zoomed photo a focusing of its own and bend everything else to it.
std::vector<std::size_t> refocused_too_far(const CardPoses& poses) {
  std::map<LensIndex, std::vector<double>> focus;
  for (std::size_t i = 0; i < poses.photos.size(); ++i)
    focus[poses.bundle.lens_of[geometry::PhotoIndex(i)]].push_back(
        poses.bundle.focus[geometry::PhotoIndex(i)]);
  std::vector<std::size_t> odd;
  for (std::size_t i = 0; i < poses.photos.size(); ++i) {
    const double usual = core::median(focus[poses.bundle.lens_of[geometry::PhotoIndex(i)]]);
    if (std::abs(poses.bundle.focus[geometry::PhotoIndex(i)] / usual - 1) > kRefocus)
      odd.push_back(poses.photos[i]);
  }
  return odd;
}

// The photo of which fewest corners are left, where more than half of them were thrown out as mistakes: what
// is left then fits anything.
std::optional<std::size_t> mostly_mistaken(const CardPoses& poses, const std::vector<PhotoCards>& photos) {
  const Places places(poses);
  std::map<geometry::PhotoIndex, double> left;
  for (const CornerObservation& o : poses.bundle.corners) ++left[o.photo];
  std::optional<std::size_t> odd;
  double least = 0.5;
  for (const PhotoCards& photo : photos) {
    const auto p = places.photo(photo.photo);
    if (!p) continue;
    double given = 0;
    for (const camera::CardView& view : photo.views) {
      if (places.card(view.card)) given += static_cast<double>(view.corner_id.size());
    }
    if (left[*p] >= least * given) continue;
    least = left[*p] / given;
    odd = photo.photo;
  }
  return odd;
}

constexpr const char* kOddPhoto =
    "its cards do not fit the other photos: a card was moved, another lens or zoom was used, or the picture "
    "was cropped or edited";
constexpr const char* kUncheckedLens =
    "has no EXIF, and its cards do not show whether it is uncut; two cards in every photo settle that";

// A photo that does not belong to the others although all of its cards lie where the others see them.
std::optional<LeftOutPhoto> odd_photo(const CardPoses& poses, const std::vector<PhotoCards>& photos) {
  if (const auto mistaken = mostly_mistaken(poses, photos)) return LeftOutPhoto{*mistaken, kOddPhoto};
  if (const auto another = against_its_lens(poses.bundle))
    return LeftOutPhoto{poses.photos[another->value], kOddPhoto};
  const Places places(poses);
  for (const PhotoCards& photo : photos) {
    const auto p = places.photo(photo.photo);
    if (p && !photo.has_exif && !settles_its_lens(poses.bundle, *p))
      return LeftOutPhoto{photo.photo, kUncheckedLens};
  }
  return std::nullopt;
}

[[noreturn]] void disagree_photo(const std::string& what) {
  throw core::MeasureError(
      "the cards do not agree from photo to photo (" + what +
      " and others): lay prints of one scale, leave them and the form where they are, and take "
      "all photos with one lens without zoom, uncut");
}

[[noreturn]] void disagree(const View& first, const std::string& photo) {
  disagree_photo("card " + std::to_string(first.second) + " in " + core::one_line(photo, 60));
}

[[noreturn]] void refuse(const LeftOutPhoto& odd, const std::string& photo) {
  if (odd.reason != kUncheckedLens) disagree_photo(core::one_line(photo, 60));
  throw core::MeasureError(core::one_line(photo, 60) + " and others: " + odd.reason +
                           ": photograph again, or take the photos as the phone saved them");
}

}  // namespace

AgreedCards solve_agreeing_cards(std::vector<PhotoCards> photos, double print_scale, const SolveCards& solve,
                                 const std::function<std::string(std::size_t)>& name) {
  AgreedCards agreed{solve(photos), {}, {}};
  std::set<std::size_t> with_cards;
  for (const PhotoCards& p : photos) {
    if (!p.views.empty()) with_cards.insert(p.photo);
  }
  const std::size_t cards = agreed.solution.poses.cards.size(), given = agreed.solution.poses.photos.size();
  const auto too_many = [&] {
    return (!agreed.odd_cards.empty() && 2 * agreed.odd_cards.size() >= cards) ||
           4 * agreed.odd_photos.size() > given;
  };
  for (;;) {
    const std::vector<std::size_t> refocused = refocused_too_far(agreed.solution.poses);
    for (const std::size_t photo : refocused) {
      agreed.odd_photos.push_back({photo, kOddPhoto});
      photos = without_photo(photos, photo);
    }
    if (too_many()) disagree_photo(core::one_line(name(agreed.odd_photos.front().photo), 60));
    if (!refocused.empty()) {
      agreed.solution = solve(photos);
      continue;
    }
    const std::set<View> off = fit_of(agreed.solution, photos, print_scale).off;
    if (off.empty()) {
      const std::optional<LeftOutPhoto> odd = odd_photo(agreed.solution.poses, photos);
      if (!odd) break;
      agreed.odd_photos.push_back(*odd);
      if (too_many()) refuse(*odd, name(odd->photo));
      photos = without_photo(photos, odd->photo);
      agreed.solution = solve(photos);
      continue;
    }
    auto trial = best_trial(photos, agreed.solution, off, print_scale, solve);
    if (!trial || trial->fit.off.size() >= off.size()) disagree(*off.begin(), name(off.begin()->first));
    if (trial->card) {
      agreed.odd_cards.push_back(
          {*trial->card, what_is_odd(*trial->card, trial->solution, photos, print_scale, name)});
    } else {
      agreed.odd_photos.push_back({*trial->photo, kOddPhoto});
    }
    if (too_many()) disagree(*off.begin(), name(off.begin()->first));
    photos = std::move(trial->photos);
    agreed.solution = std::move(trial->solution);
  }
  std::set<std::size_t> emptied;
  for (const PhotoCards& p : photos) {
    if (p.views.empty() && with_cards.count(p.photo) > 0) emptied.insert(p.photo);
  }
  for (LeftOutPhoto& out : agreed.solution.poses.left_out) {
    if (emptied.count(out.photo) > 0) out.reason = "shows no card but those left out";
  }
  return agreed;
}

}  // namespace interstice::scan
