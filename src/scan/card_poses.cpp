#include "scan/card_poses.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <opencv2/calib3d.hpp>
#include <optional>
#include <set>

#include "core/errors.h"
#include "geometry/plane.h"
#include "scan/few_photos.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

struct Link : CardPose {  // one card in one photo
  std::size_t photo;
  int card;
};

struct Joined {
  std::map<std::size_t, Isometry3d> camera_T_bench;
  std::map<int, Isometry3d> bench_T_card;
};

// Grows a tree from the start card, always along the cheapest link that reaches something new.
Joined join_from(int start, const std::vector<Link>& links) {
  Joined j;
  j.bench_T_card[start] = Isometry3d::Identity();
  for (;;) {
    const Link* best = nullptr;
    for (const Link& link : links) {
      const bool photo_known = j.camera_T_bench.count(link.photo) > 0;
      const bool card_known = j.bench_T_card.count(link.card) > 0;
      if (photo_known != card_known && (!best || link.cost() < best->cost())) best = &link;
    }
    if (!best) return j;
    if (j.bench_T_card.count(best->card) > 0) {
      j.camera_T_bench[best->photo] = best->camera_T_card * j.bench_T_card[best->card].inverse();
    } else {
      j.bench_T_card[best->card] = j.camera_T_bench[best->photo].inverse() * best->camera_T_card;
    }
  }
}

int start_card(const std::vector<Link>& links) {
  std::map<int, double> worth;
  for (const Link& link : links) worth[link.card] += static_cast<double>(link.corners);
  int best = links.front().card;
  for (const auto& [card, w] : worth) {
    if (w > worth[best]) best = card;
  }
  return best;
}

}  // namespace

std::optional<CardPose> card_pose(const camera::Lens& lens, const camera::CardView& view,
                                  double print_scale) {
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image;
  for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
    const Vector3d p = print_scale * camera::card_point(view.corner_id[i]);
    const Vector3d ray = lens.undistort(view.pixel[i]);
    if (!ray.allFinite()) continue;
    object.emplace_back(p.x(), p.y(), p.z());
    image.emplace_back(ray.x() / ray.z(), ray.y() / ray.z());
  }
  if (object.size() < 6) return std::nullopt;
  const cv::Matx33d eye = cv::Matx33d::eye();
  std::vector<cv::Mat> rotations, translations;
  cv::solvePnPGeneric(object, image, eye, cv::noArray(), rotations, translations, false, cv::SOLVEPNP_IPPE);
  std::optional<CardPose> best;
  for (std::size_t s = 0; s < rotations.size(); ++s) {
    cv::Mat rvec = rotations[s], tvec = translations[s];
    cv::solvePnPRefineLM(object, image, eye, cv::noArray(), rvec, tvec);
    cv::Matx33d r;
    cv::Rodrigues(rvec, r);
    Isometry3d t = Isometry3d::Identity();
    for (int i = 0; i < 3; ++i) {
      for (int j = 0; j < 3; ++j) t.linear()(i, j) = r(i, j);
      t.translation()[i] = tvec.at<double>(i);
    }
    double sum = 0;
    for (std::size_t i = 0; i < object.size(); ++i) {
      const Vector3d p = t * Vector3d(object[i].x, object[i].y, object[i].z);
      sum += (Vector2d(p.x() / p.z() - image[i].x, p.y() / p.z() - image[i].y)).squaredNorm();
    }
    const double rms = lens.fx * std::sqrt(sum / static_cast<double>(object.size()));
    if (t.translation().z() > 0 && (!best || rms < best->rms_px)) {
      best = CardPose{t, rms, object.size()};
    }
  }
  return best;
}

CardPoses poses_from_cards(const std::vector<PhotoCards>& photos, double print_scale) {
  std::vector<Link> links;
  for (const PhotoCards& photo : photos) {
    for (const camera::CardView& view : photo.views) {
      if (const auto pose = card_pose(photo.lens, view, print_scale))
        links.push_back({*pose, photo.photo, view.card});
    }
  }
  if (links.empty()) {
    throw core::MeasureError(
        "no scale card was found in any photo; lay printed cards round the form and photograph again");
  }
  const int start = start_card(links);
  const Joined joined = join_from(start, links);
  CardPoses out;
  std::map<int, geometry::CardIndex> card_index;
  card_index[start] = out.bundle.bench_T_card.push_back(Isometry3d::Identity());
  out.cards.push_back(start);
  for (const auto& [card, pose] : joined.bench_T_card) {
    if (card == start) continue;
    card_index[card] = out.bundle.bench_T_card.push_back(pose);
    out.cards.push_back(card);
  }
  for (const PhotoCards& photo : photos) {
    const auto pose = joined.camera_T_bench.find(photo.photo);
    if (pose == joined.camera_T_bench.end()) {
      out.left_out.push_back({photo.photo, photo.views.empty()
                                               ? "shows no scale card"
                                               : "its cards do not connect to the other photos"});
      continue;
    }
    const geometry::PhotoIndex p = out.bundle.camera_T_bench.push_back(pose->second);
    out.photos.push_back(photo.photo);
    out.bundle.focus.push_back(1.0);
    out.bundle.lens_of.push_back(out.bundle.lenses.push_back(photo.lens));
    for (const camera::CardView& view : photo.views) {
      const auto card = card_index.find(view.card);
      if (card == card_index.end()) continue;
      for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
        out.bundle.corners.push_back({p, card->second, print_scale * camera::card_point(view.corner_id[i]),
                                      view.corner_id[i], view.pixel[i], view.sd_px[i], view.sd_px[i]});
      }
    }
  }
  if (out.photos.size() < 3) {
    throw core::MeasureError(few_photos(out.photos.size()));
  }
  return out;
}

Isometry3d level_T_bench(const Bundle& bundle) {
  std::vector<Vector3d> corners;
  Vector3d up = Vector3d::Zero();
  for (const Isometry3d& card : bundle.bench_T_card) {
    for (int k = 0; k < camera::kCornersPerCard; ++k) corners.push_back(card * camera::card_point(k));
    up += card.linear() * Vector3d::UnitZ();
  }
  const geometry::PlaneFit plane = geometry::fit_plane(corners);
  const Vector3d normal = plane.normal.dot(up) > 0 ? plane.normal : Vector3d(-plane.normal);
  const geometry::PlaneFrame frame = geometry::make_plane_frame(plane.centroid, normal, Vector3d::UnitX());
  Isometry3d bench_T_level = Isometry3d::Identity();
  bench_T_level.linear() << frame.ex, frame.ey, frame.normal;
  bench_T_level.translation() = frame.origin;
  return bench_T_level.inverse();
}

}  // namespace interstice::scan
