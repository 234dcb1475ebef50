#include "scan/tie_points.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <boost/pending/disjoint_sets.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <opencv2/core/hal/hal.hpp>
#include <set>
#include <unordered_map>

#include "core/parallel.h"

namespace interstice::scan {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kEpipolar_px = 2.5;
constexpr double kRatio = 0.85;        // best over second-best descriptor distance, unguided
constexpr double kGuidedRatio = 0.92;  // among the few candidates that geometry allows
constexpr double kMeet_mm = 5.0;       // how far apart, on the map, one spot may seem in two photos
// rad between the views of a pair: nearer ones, compared to a tenth of a pixel, tell a depth to no better than
// seven tenths of one. Where hundreds of photos stand close together, the nearest do not say where the form stands.
constexpr double kLeastAngle = 0.14;
constexpr double kMaxAngle = 0.75;      // rad between the views of a pair: beyond, patches look too different
constexpr double kMaxDescriptor = 0.9;  // RootSIFT distance above which two patches have nothing in common

struct Rays {
  Vector3d centre;
  std::vector<Vector3d> ray;
};

std::vector<Rays> rays_of(const std::vector<TiePhoto>& photos) {
  std::vector<Rays> out;
  for (const TiePhoto& photo : photos) {
    const Eigen::Isometry3d bench_T_camera = photo.camera_T_bench.inverse();
    Rays r{bench_T_camera.translation(), {}};
    for (const Vector2d& pixel : photo.features.pixel) {
      r.ray.push_back(bench_T_camera.linear() * photo.lens.undistort(pixel));
    }
    out.push_back(std::move(r));
  }
  return out;
}

// The epipolar line of a's ray in b's photo near a depth, by projecting two points of the ray.
class EpipolarLine {
 public:
  EpipolarLine(const TiePhoto& b, const Vector3d& centre_a, const Vector3d& ray_a, double depth)
      : p_(b.lens.project(b.camera_T_bench * (centre_a + 0.9 * depth * ray_a))),
        d_(b.lens.project(b.camera_T_bench * (centre_a + 1.1 * depth * ray_a)) - p_),
        length_(d_.norm()) {}

  // Of a pixel of b.
  double distance_px(const Vector2d& pixel_b) const {
    if (!d_.allFinite() || length_ < 1e-9) return std::numeric_limits<double>::infinity();
    return std::abs(d_.x() * (pixel_b - p_).y() - d_.y() * (pixel_b - p_).x()) / length_;
  }

 private:
  Vector2d p_, d_;
  double length_;
};

double angle_between(const Vector3d& a, const Vector3d& b) {
  return std::acos(std::clamp(a.normalized().dot(b.normalized()), -1.0, 1.0));
}

std::vector<std::pair<std::size_t, std::size_t>> neighbour_pairs(const std::vector<Rays>& rays,
                                                                 const Vector3d& aim, double max_angle,
                                                                 std::size_t most) {
  std::set<std::pair<std::size_t, std::size_t>> pairs;
  for (std::size_t i = 0; i < rays.size(); ++i) {
    std::vector<std::pair<double, std::size_t>> others;
    for (std::size_t j = 0; j < rays.size(); ++j) {
      if (i == j) continue;
      const double angle = angle_between(rays[i].centre - aim, rays[j].centre - aim);
      if (angle < max_angle && angle > kLeastAngle) others.emplace_back(angle, j);
    }
    std::sort(others.begin(), others.end());
    for (std::size_t k = 0; k < std::min(most, others.size()); ++k)
      pairs.insert(std::minmax(i, others[k].second));
  }
  return {pairs.begin(), pairs.end()};
}

Vector3d aim_of(const std::vector<TiePhoto>& photos) {
  std::vector<Vector3d> origins, axes;
  for (const TiePhoto& photo : photos) {
    const Eigen::Isometry3d bench_T_camera = photo.camera_T_bench.inverse();
    origins.push_back(bench_T_camera.translation());
    axes.push_back(bench_T_camera.linear() * Vector3d::UnitZ());
  }
  return intersect_rays(origins, axes);
}

struct MapKey {
  Vector2d uv;
  Vector3d p;
};

// Every feature carried to one height over the form; NaN where the ray misses it.
std::vector<MapKey> keys_at(const Rays& rays, const FormOnBench& form, double height_mm) {
  std::vector<MapKey> keys;
  const Vector3d centre = form.bowl_T_bench * rays.centre;
  for (const Vector3d& ray : rays.ray) {
    const Vector3d p = ray_to_height(form.profile, centre, form.bowl_T_bench.linear() * ray, height_mm);
    keys.push_back({p.allFinite() ? form.profile.locate(p).uv : Vector2d(NAN, NAN), p});
  }
  return keys;
}

struct Cells {  // features by map cell
  double size;
  std::map<std::pair<int, int>, std::vector<std::size_t>> at;
  explicit Cells(const std::vector<MapKey>& keys, double cell) : size(cell) {
    for (std::size_t i = 0; i < keys.size(); ++i) {
      if (keys[i].uv.allFinite()) at[cell_of(keys[i].uv)].push_back(i);
    }
  }
  std::pair<int, int> cell_of(const Vector2d& uv) const {
    return {static_cast<int>(std::floor(uv.x() / size)), static_cast<int>(std::floor(uv.y() / size))};
  }
};

float descriptor_distance(const cv::Mat& a, std::size_t i, const cv::Mat& b, std::size_t j) {
  const float* p = a.ptr<float>(static_cast<int>(i));
  const float* q = b.ptr<float>(static_cast<int>(j));
  float sum = 0;
  for (int k = 0; k < a.cols; ++k) sum += (p[k] - q[k]) * (p[k] - q[k]);
  return std::sqrt(sum);
}

struct Best {
  std::size_t index = SIZE_MAX;
  float distance = std::numeric_limits<float>::infinity();
  float second = std::numeric_limits<float>::infinity();
  void offer(std::size_t i, float d) {
    if (d < distance) {
      second = distance;
      distance = d;
      index = i;
    } else {
      second = std::min(second, d);
    }
  }
  bool good() const {
    return index != SIZE_MAX && distance < kMaxDescriptor && distance < kGuidedRatio * second;
  }
};

using Match = std::pair<std::size_t, std::size_t>;

// Mutual best matches of two photos at one height.
std::vector<Match> match_pair(const TiePhoto& a, const TiePhoto& b, const Rays& ra,
                              const std::vector<MapKey>& ka, const std::vector<MapKey>& kb,
                              const Cells& cells_b, const Eigen::Isometry3d& bench_T_bowl) {
  std::vector<Best> best_b(kb.size());
  std::vector<Best> best_a(ka.size());
  for (std::size_t i = 0; i < ka.size(); ++i) {
    if (!ka[i].uv.allFinite()) continue;
    const double depth = (bench_T_bowl * ka[i].p - ra.centre).norm();
    const EpipolarLine line(b, ra.centre, ra.ray[i], depth);
    const auto [cu, cv] = cells_b.cell_of(ka[i].uv);
    for (int du = -1; du <= 1; ++du) {
      for (int dv = -1; dv <= 1; ++dv) {
        const auto cell = cells_b.at.find({cu + du, cv + dv});
        if (cell == cells_b.at.end()) continue;
        for (const std::size_t j : cell->second) {
          if ((kb[j].uv - ka[i].uv).norm() > kMeet_mm) continue;
          if (line.distance_px(b.features.pixel[j]) > kEpipolar_px) continue;
          const float d = descriptor_distance(a.features.descriptors, i, b.features.descriptors, j);
          best_a[i].offer(j, d);
          best_b[j].offer(i, d);
        }
      }
    }
  }
  std::vector<Match> out;
  for (std::size_t i = 0; i < ka.size(); ++i) {
    if (best_a[i].good() && best_b[best_a[i].index].good() && best_b[best_a[i].index].index == i) {
      out.emplace_back(i, best_a[i].index);
    }
  }
  return out;
}

// Matches with the ratio test against all features of b, as matching everything with everything finds them,
// less those that lie off the epipolar line anyway. Only features near the line can be the match; whether one
// of them passes the ratio test is then asked of the others until the first that fails it, which for most
// comes soon.
std::vector<Match> match_along_lines(const TiePhoto& a, const TiePhoto& b, const Rays& ra, const Rays& rb) {
  // A point up to kEpipolar_px off in both photos lies within kEpipolar_px (1 + s) of the line, s the scale
  // of b over that of a, which for neighbours stays below three.
  const double reach = 4 * kEpipolar_px / b.lens.fx;
  const Eigen::Matrix3d r = b.camera_T_bench.linear();
  const Vector3d base = r * (ra.centre - rb.centre);
  std::vector<Vector2d> at;  // b's features in its picture plane, straight lines straight
  for (const Vector3d& ray : rb.ray) at.push_back((r * ray).hnormalized());
  const int length = b.features.descriptors.cols;
  const auto apart = [&](std::size_t f, std::size_t g) {
    return std::sqrt(cv::hal::normL2Sqr_(a.features.descriptors.ptr<float>(static_cast<int>(f)),
                                         b.features.descriptors.ptr<float>(static_cast<int>(g)), length));
  };
  std::vector<Match> out;
  for (std::size_t f = 0; f < ra.ray.size(); ++f) {
    Vector3d line = base.cross(r * ra.ray[f]);
    line /= line.head<2>().norm();
    std::size_t best = at.size();
    float least = std::numeric_limits<float>::infinity();
    for (std::size_t g = 0; g < at.size(); ++g) {
      if (!(std::abs(line.x() * at[g].x() + line.y() * at[g].y() + line.z()) < reach)) continue;
      const float d = apart(f, g);
      if (d < least) {
        least = d;
        best = g;
      }
    }
    if (best == at.size()) continue;
    bool clear = true;
    for (std::size_t g = 0; g < at.size() && clear; ++g)
      clear = g == best || static_cast<double>(least) <= kRatio * static_cast<double>(apart(f, g));
    if (clear) out.emplace_back(f, best);
  }
  return out;
}

// A track is kept when no photo shows it twice, its rays open up enough and all its pixels agree.
bool finish_track(Track& track, const std::vector<TiePhoto>& photos, const std::vector<Rays>& rays) {
  std::sort(track.features.begin(), track.features.end());
  for (std::size_t k = 1; k < track.features.size(); ++k) {
    if (track.features[k].first == track.features[k - 1].first) return false;
  }
  if (track.features.size() < 2) return false;
  std::vector<Vector3d> origins, directions;
  for (const auto& [p, f] : track.features) {
    origins.push_back(rays[p].centre);
    directions.push_back(rays[p].ray[f]);
  }
  double widest = 1;
  for (const Vector3d& d : directions) widest = std::min(widest, d.dot(directions.front()));
  if (widest > std::cos(0.06)) return false;
  track.p_bench = intersect_rays(origins, directions);
  for (const auto& [p, f] : track.features) {
    const Vector2d r =
        photos[p].lens.project(photos[p].camera_T_bench * track.p_bench) - photos[p].features.pixel[f];
    if (!(r.norm() < 2 * kEpipolar_px)) return false;
  }
  return true;
}

}  // namespace

Vector3d intersect_rays(const std::vector<Vector3d>& origins, const std::vector<Vector3d>& rays) {
  Eigen::Matrix3d a = 1e-12 * Eigen::Matrix3d::Identity();
  Vector3d b = Vector3d::Zero();
  for (std::size_t i = 0; i < rays.size(); ++i) {
    const Eigen::Matrix3d across = Eigen::Matrix3d::Identity() - rays[i] * rays[i].transpose();
    a += across;
    b += across * origins[i];
  }
  return a.ldlt().solve(b);
}

Vector3d ray_to_height(const geometry::Profile& profile, const Vector3d& origin, const Vector3d& ray,
                       double height_mm) {
  // The form lies within a sphere about the middle of its axis; march from where the ray enters it.
  const double top = profile.points().front().y() + height_mm;
  double reach = 0;
  for (const Vector2d& rz : profile.points()) reach = std::max(reach, rz.x());
  const Vector3d middle(0, 0, top / 2);
  const double bound = std::hypot(reach + height_mm, top / 2) + 1.0;
  const double along = (middle - origin).dot(ray);
  const double miss2 = (origin + along * ray - middle).squaredNorm();
  if (miss2 > bound * bound) return Vector3d::Constant(NAN);
  const double half = std::sqrt(bound * bound - miss2);
  double s = along - half;
  for (int k = 0; k < 80; ++k) {
    const Vector3d p = origin + s * ray;
    const double h = profile.locate(p).height - height_mm;
    if (std::abs(h) < 1e-3) return p.z() > -5 ? p : Vector3d(Vector3d::Constant(NAN));
    if (h < 0) return Vector3d::Constant(NAN);
    s += h;  // the height is the distance to the form: no step can overshoot
    if (s > along + half) break;
  }
  return Vector3d::Constant(NAN);
}

std::vector<PairPoints> match_neighbours(const std::vector<TiePhoto>& photos, int threads) {
  const std::vector<Rays> rays = rays_of(photos);
  const Vector3d aim = aim_of(photos);
  const auto pairs = neighbour_pairs(rays, aim, kMaxAngle, 3);
  std::vector<PairPoints> found(pairs.size());
  core::parallel_for(pairs.size(), threads, [&](std::size_t n) {
    const auto [i, j] = pairs[n];
    found[n].first = i;
    found[n].second = j;
    const TiePhoto &a = photos[i], &b = photos[j];
    if (a.features.descriptors.rows < 2 || b.features.descriptors.rows < 2) return;
    for (const auto& [f, g] : match_along_lines(a, b, rays[i], rays[j])) {
      const Vector3d p = intersect_rays({rays[i].centre, rays[j].centre}, {rays[i].ray[f], rays[j].ray[g]});
      if (!p.allFinite() || (p - rays[i].centre).dot(rays[i].ray[f]) <= 0) continue;
      const Vector2d ra = a.lens.project(a.camera_T_bench * p) - a.features.pixel[f];
      const Vector2d rb = b.lens.project(b.camera_T_bench * p) - b.features.pixel[g];
      if (ra.norm() < kEpipolar_px && rb.norm() < kEpipolar_px) found[n].points.push_back(p);
    }
  });
  return found;
}

std::vector<Vector3d> points_of(const std::vector<PairPoints>& pairs) {
  std::vector<Vector3d> points;
  for (const PairPoints& pair : pairs) points.insert(points.end(), pair.points.begin(), pair.points.end());
  return points;
}

std::vector<Track> match_on_form(const std::vector<TiePhoto>& photos, const FormOnBench& form, int threads) {
  const std::vector<Rays> rays = rays_of(photos);
  const double levels[2] = {form.thickness_mm, 0.0};
  std::vector<std::vector<MapKey>> keys(2 * photos.size());
  core::parallel_for(keys.size(), threads,
                     [&](std::size_t n) { keys[n] = keys_at(rays[n / 2], form, levels[n % 2]); });
  std::vector<Cells> cells;
  for (const auto& k : keys) cells.emplace_back(k, kMeet_mm);
  const Eigen::Isometry3d bench_T_bowl = form.bowl_T_bench.inverse();
  const Vector3d aim = bench_T_bowl * Vector3d(0, 0, form.profile.points().front().y() / 2);
  const auto pairs = neighbour_pairs(rays, aim, kMaxAngle, 8);
  std::vector<std::vector<Match>> matches(pairs.size());
  core::parallel_for(pairs.size(), threads, [&](std::size_t n) {
    const auto [i, j] = pairs[n];
    for (std::size_t level = 0; level < 2; ++level) {
      const auto m = match_pair(photos[i], photos[j], rays[i], keys[2 * i + level], keys[2 * j + level],
                                cells[2 * j + level], bench_T_bowl);
      matches[n].insert(matches[n].end(), m.begin(), m.end());
    }
  });
  std::vector<std::size_t> first(photos.size() + 1, 0);
  for (std::size_t i = 0; i < photos.size(); ++i) first[i + 1] = first[i] + photos[i].features.pixel.size();
  boost::disjoint_sets_with_storage<> matched(first.back());
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    for (const auto& [f, g] : matches[n])
      matched.union_set(first[pairs[n].first] + f, first[pairs[n].second] + g);
  }
  // In the order of their first features, whichever of them stands for the set.
  std::vector<Track> tracks;
  std::unordered_map<std::size_t, std::size_t> track_of;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    for (std::size_t f = 0; f < photos[i].features.pixel.size(); ++f) {
      const auto [at, is_first] = track_of.try_emplace(matched.find_set(first[i] + f), tracks.size());
      if (is_first) tracks.emplace_back();
      tracks[at->second].features.emplace_back(i, f);
    }
  }
  std::vector<Track> out;
  for (Track& track : tracks) {
    if (track.features.size() > 1 && finish_track(track, photos, rays)) out.push_back(std::move(track));
  }
  return out;
}

}  // namespace interstice::scan
