#include "refill/patch_shape.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace interstice::refill {

using Eigen::Vector3d;

double area_of(const Band& band, const std::vector<CellIndex>& cells) {
  double sum = 0;
  for (const CellIndex i : cells) sum += band.cells()[i].area_mm2;
  return sum;
}

PatchExtent extent_of(const Band& band, const std::vector<CellIndex>& cells) {
  PatchExtent e;
  double weights = 0;
  Vector3d normal = Vector3d::Zero();
  for (const CellIndex i : cells) {
    const BandCell& c = band.cells()[i];
    e.middle += c.area_mm2 * c.at;
    normal += c.area_mm2 * c.normal;
    weights += c.area_mm2;
  }
  e.middle /= weights;
  Eigen::Matrix3d spread = Eigen::Matrix3d::Zero();
  for (const CellIndex i : cells) {
    const Vector3d d = band.cells()[i].at - e.middle;
    spread += band.cells()[i].area_mm2 / weights * d * d.transpose();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> axes(spread);
  e.along = axes.eigenvectors().col(2);
  const Vector3d across = normal.normalized().cross(e.along);
  double low = 1e9, high = -1e9, left = 1e9, right = -1e9;
  for (const CellIndex i : cells) {
    const Vector3d d = band.cells()[i].at - e.middle;
    low = std::min(low, d.dot(e.along)), high = std::max(high, d.dot(e.along));
    left = std::min(left, d.dot(across)), right = std::max(right, d.dot(across));
  }
  const double cell_mm = std::sqrt(weights / static_cast<double>(cells.size()));
  e.length_mm = high - low + cell_mm;
  e.across_mm = right - left + cell_mm;
  return e;
}

double gap_at(const Band& band, const std::vector<CellIndex>& cells) {
  double gap = 0;
  for (const CellIndex i : cells)
    gap += (band.cells()[i].first_mm + band.cells()[i].second_mm) / static_cast<double>(cells.size());
  return gap;
}

// Round the cells, by their outer contour on the map.
std::vector<Vector3d> rim_of(const Band& band, const std::vector<CellIndex>& cells) {
  int left = 1 << 30, top = 1 << 30, right = 0, bottom = 0;
  for (const CellIndex i : cells) {
    const BandCell& c = band.cells()[i];
    left = std::min(left, c.column), right = std::max(right, c.column);
    top = std::min(top, c.row), bottom = std::max(bottom, c.row);
  }
  cv::Mat mask(bottom - top + 3, right - left + 3, CV_8U, cv::Scalar(0));
  for (const CellIndex i : cells) {
    const BandCell& c = band.cells()[i];
    mask.at<uchar>(c.row - top + 1, c.column - left + 1) = 255;
  }
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  const auto longest = std::max_element(contours.begin(), contours.end(),
                                        [](const auto& a, const auto& b) { return a.size() < b.size(); });
  std::vector<Vector3d> out;
  if (longest == contours.end()) return out;
  for (const cv::Point& q : *longest) {
    const int k = band.grid().at<int>(q.y + top - 1, q.x + left - 1);
    if (k >= 0) out.push_back(band.cells()[CellIndex(static_cast<std::size_t>(k))].at);
  }
  return out;
}

}  // namespace interstice::refill
