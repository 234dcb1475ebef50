// What the libraries alone make of the same photos, in the same run, beside our surface.
//
//   baseline RESULTS TRUTH     (RESULTS: a folder written by inspect)
//
// SIFT, brute-force matching with the ratio test and an essential matrix for every pair of neighbours; pairs
// rectified, semi-global matching both ways, checked left against right; fusion into a truncated signed
// distance field. To be kind to it the pairs are rectified by our poses and lens, not by what it found, and
// matched only over the form and near its depth. Prints one JSON document on standard output.
#include <sys/resource.h>

#include <Eigen/Geometry>  // before OpenCV's own use of it

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/core/eigen.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "baseline_fusion.h"
#include "core/median.h"
#include "plan/plan.h"
#include "scan/scan_document.h"
#include "surface_error.h"

namespace interstice::baseline {
namespace {

using Eigen::Vector3d;

constexpr double kVoxel_mm = 1.0;  // the step of our height field
constexpr double kReach_mm = 3.0;  // points further from a face do not count as its surface, for both
constexpr int kFeatures = 8000;
constexpr int kBlock = 5;

double cpu_s() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

class Stopwatch {
 public:
  explicit Stopwatch(nlohmann::ordered_json& out) : out_(out) {}
  void lap(const char* name) {
    const double cpu = cpu_s(), wall = now();
    out_[name] = {{"cpu_s", cpu - cpu_}, {"wall_s", wall - wall_}};
    cpu_ = cpu_s();
    wall_ = now();
  }

 private:
  static double now() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
  }
  nlohmann::ordered_json& out_;
  double cpu_ = cpu_s(), wall_ = now();
};

using Pair = std::pair<std::size_t, std::size_t>;

// Every photo with its two nearest neighbours as seen from the form.
std::vector<Pair> neighbours(const scan::Scan& scan, const Vector3d& middle) {
  std::set<Pair> pairs;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    std::vector<std::pair<double, std::size_t>> others;
    const Vector3d a = (scan.photos[geometry::PhotoIndex(i)].centre() - middle).normalized();
    for (std::size_t j = 0; j < scan.photos.size(); ++j) {
      const Vector3d b = (scan.photos[geometry::PhotoIndex(j)].centre() - middle).normalized();
      if (j != i) others.emplace_back(-a.dot(b), j);
    }
    std::sort(others.begin(), others.end());
    for (std::size_t k = 0; k < std::min<std::size_t>(2, others.size()); ++k)
      pairs.insert(std::minmax(i, others[k].second));
  }
  return {pairs.begin(), pairs.end()};
}

cv::Mat camera_matrix(const camera::Lens& lens) {
  return (cv::Mat_<double>(3, 3) << lens.fx, 0, lens.cx, 0, lens.fy, lens.cy, 0, 0, 1);
}

cv::Mat distortion(const camera::Lens& lens) {
  return (cv::Mat_<double>(1, 5) << lens.k1, lens.k2, lens.p1, lens.p2, lens.k3);
}

// Returns how many points the essential matrices of all pairs agree on.
std::size_t match(const scan::Scan& scan, const std::vector<cv::Mat>& grey, const std::vector<Pair>& pairs,
                  Stopwatch& watch) {
  std::vector<std::vector<cv::KeyPoint>> keys(grey.size());
  std::vector<cv::Mat> descriptors(grey.size());
  for (std::size_t i = 0; i < grey.size(); ++i)
    cv::SIFT::create(kFeatures)->detectAndCompute(grey[i], {}, keys[i], descriptors[i]);
  watch.lap("features");
  std::size_t agree = 0;
  for (const auto& [i, j] : pairs) {
    std::vector<std::vector<cv::DMatch>> found;
    cv::BFMatcher(cv::NORM_L2).knnMatch(descriptors[i], descriptors[j], found, 2);
    std::vector<cv::Point2f> a, b;
    for (const auto& m : found) {
      if (m.size() < 2 || m[0].distance > 0.75f * m[1].distance) continue;
      a.push_back(keys[i][static_cast<std::size_t>(m[0].queryIdx)].pt);
      b.push_back(keys[j][static_cast<std::size_t>(m[0].trainIdx)].pt);
    }
    if (a.size() < 8) continue;
    cv::Mat inliers;
    cv::findEssentialMat(a, b, camera_matrix(scan.photos[geometry::PhotoIndex(i)].lens), cv::RANSAC, 0.999,
                         1.0, inliers);
    agree += static_cast<std::size_t>(cv::countNonZero(inliers));
  }
  watch.lap("matching and relative poses");
  return agree;
}

// A pair laid line on line, and the disparities the form can have.
struct Rectified {
  cv::Mat left, right;
  double focal_px = 0, cx = 0, cy = 0, shift_px = 0, base_mm = 0;
  Eigen::Isometry3d left_T_bowl;
  int first = 0, count = 0;
  bool upright = false;  // rectified by turning a quarter, where the cameras stand one above the other
};

Rectified rectify(const scan::ScannedPhoto& a, const scan::ScannedPhoto& b, const cv::Mat& grey_a,
                  const cv::Mat& grey_b, const std::vector<Vector3d>& form) {
  Rectified out;
  const Eigen::Isometry3d b_T_a = b.camera_T_bowl * a.camera_T_bowl.inverse();
  cv::Mat r, t, r1, r2, p1, p2, q;
  cv::eigen2cv(Eigen::Matrix3d(b_T_a.linear()), r);
  cv::eigen2cv(Vector3d(b_T_a.translation()), t);
  cv::stereoRectify(camera_matrix(a.lens), distortion(a.lens), camera_matrix(b.lens), distortion(b.lens),
                    grey_a.size(), r, t, r1, r2, p1, p2, q, 0);
  out.upright = std::abs(p2.at<double>(1, 3)) > std::abs(p2.at<double>(0, 3));
  out.focal_px = p1.at<double>(0, 0);
  out.cx = p1.at<double>(0, 2);
  out.cy = p1.at<double>(1, 2);
  const int axis = out.upright ? 1 : 0;
  out.base_mm = -p2.at<double>(axis, 3) / out.focal_px;  // positive: b lies to the right (below)
  out.shift_px = p1.at<double>(axis, 2) - p2.at<double>(axis, 2);
  Eigen::Matrix3d turn;
  cv::cv2eigen(r1, turn);
  out.left_T_bowl = Eigen::Isometry3d(turn) * a.camera_T_bowl;
  cv::Mat x, y;
  cv::initUndistortRectifyMap(camera_matrix(a.lens), distortion(a.lens), r1, p1, grey_a.size(), CV_32F, x, y);
  cv::remap(grey_a, out.left, x, y, cv::INTER_LINEAR);
  cv::initUndistortRectifyMap(camera_matrix(b.lens), distortion(b.lens), r2, p2, grey_b.size(), CV_32F, x, y);
  cv::remap(grey_b, out.right, x, y, cv::INTER_LINEAR);
  double least = 1e9, most = -1e9;
  for (const Vector3d& p : form) {
    const double d = out.focal_px * out.base_mm / (out.left_T_bowl * p).z() + out.shift_px;
    least = std::min(least, d);
    most = std::max(most, d);
  }
  out.first = static_cast<int>(std::floor(least)) - 8;
  out.count = (static_cast<int>(std::ceil(most - least)) + 16 + 15) / 16 * 16;
  return out;
}

// Depth along the left camera's axis; 0 where matching left to right and right to left differ by more than a
// pixel.
cv::Mat depth_of(const Rectified& pair) {
  cv::Mat left = pair.left, right = pair.right;
  if (pair.upright) {
    cv::transpose(left, left);
    cv::transpose(right, right);
  }
  const auto matcher = cv::StereoSGBM::create(pair.first, pair.count, kBlock, 8 * kBlock * kBlock,
                                              32 * kBlock * kBlock, 1, 31, 10, 100, 2);
  cv::Mat disparity;
  matcher->compute(left, right, disparity);
  if (pair.upright) cv::transpose(disparity, disparity);
  cv::Mat depth(disparity.size(), CV_32F, cv::Scalar(0));
  for (int y = 0; y < depth.rows; ++y) {
    for (int x = 0; x < depth.cols; ++x) {
      const double d = disparity.at<short>(y, x) / 16.0;
      if (d < pair.first) continue;  // the matcher's mark for none
      depth.at<float>(y, x) = static_cast<float>(pair.focal_px * pair.base_mm / (d - pair.shift_px));
    }
  }
  return depth;
}

// What is not near the form is left out.
void keep_form(cv::Mat& depth, const Rectified& pair, double radius_mm, double height_mm) {
  const Eigen::Isometry3d bowl_T_left = pair.left_T_bowl.inverse();
  for (int y = 0; y < depth.rows; ++y) {
    for (int x = 0; x < depth.cols; ++x) {
      float& z = depth.at<float>(y, x);
      if (!(z > 0)) continue;
      const Vector3d ray((x - pair.cx) / pair.focal_px, (y - pair.cy) / pair.focal_px, 1);
      const Vector3d p = bowl_T_left * Vector3d(static_cast<double>(z) * ray);
      if (p.head<2>().norm() > radius_mm || p.z() < 0 || p.z() > height_mm) z = 0;
    }
  }
}

nlohmann::ordered_json json_of(const SurfaceError& e) {
  return {{"points_on_faces", e.points},
          {"points_per_cm2", e.density_per_cm2()},
          {"faces_covered", e.covered},
          {"median_mm", e.median_mm},
          {"rms_mm", e.rms_mm},
          {"bias_mm", e.bias_mm},
          {"within_0.3_mm", e.within_third},
          {"face_area_cm2", e.face_area_cm2}};
}

int run(const std::filesystem::path& results, const std::filesystem::path& truth_path) {
  nlohmann::ordered_json out;
  const scan::Scan scan = scan::read_scan(results / "scan");
  const plan::Plan plan = plan::read_plan(results / "plan.json");
  const Truth truth = read_truth(truth_path, scan);
  const double radius = plan.profile.points().back().x() + plan.tile_thickness_mm + 5;
  const double height = plan.profile.points().front().y() + plan.tile_thickness_mm + 5;
  std::vector<Vector3d> form;
  for (int k = 0; k < 24; ++k) {
    for (double rho = 0; rho <= plan.profile.length(); rho += 5) {
      const double a = k * 0.2618;
      form.push_back(plan.profile.point({rho * std::cos(a), rho * std::sin(a)}, plan.tile_thickness_mm));
    }
  }
  nlohmann::ordered_json steps;
  Stopwatch watch(steps);
  std::vector<cv::Mat> grey;
  for (const scan::ScannedPhoto& photo : scan.photos) grey.push_back(camera::read_photo_grey(photo.info));
  watch.lap("decoding");
  const std::vector<Pair> pairs = neighbours(scan, Vector3d(0, 0, height / 2));
  out["pairs"] = pairs.size();
  out["matches_agreeing"] = match(scan, grey, pairs, watch);
  Fusion fusion(kVoxel_mm, 4 * kVoxel_mm);
  double stereo = 0, fusing = 0;
  for (const auto& [i, j] : pairs) {
    const double start = cpu_s();
    const Rectified pair = rectify(scan.photos[geometry::PhotoIndex(i)], scan.photos[geometry::PhotoIndex(j)],
                                   grey[i], grey[j], form);
    cv::Mat depth = depth_of(pair);
    keep_form(depth, pair, radius, height);
    stereo += cpu_s() - start;
    const double fuse = cpu_s();
    fusion.add({depth, pair.focal_px, pair.cx, pair.cy, pair.left_T_bowl});
    fusing += cpu_s() - fuse;
  }
  const std::vector<Vector3d> cloud = fusion.points();
  watch.lap("stereo and fusion");
  steps["stereo and fusion"]["stereo_cpu_s"] = stereo;
  steps["stereo and fusion"]["fusion_cpu_s"] = fusing;
  out["steps"] = steps;
  out["baseline"] = json_of(error_of(cloud, truth, kReach_mm));
  out["ours"] = json_of(error_of(read_points((results / "cloud.ply").c_str()), truth, kReach_mm));
  std::puts(out.dump(1).c_str());
  return 0;
}

}  // namespace
}  // namespace interstice::baseline

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fputs("baseline RESULTS TRUTH\n", stderr);
    return 2;
  }
  try {
    return interstice::baseline::run(argv[1], argv[2]);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "baseline: %s\n", e.what());
    return 2;
  }
}
