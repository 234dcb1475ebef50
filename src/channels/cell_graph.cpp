#include "channels/cell_graph.h"

#include <algorithm>
#include <cmath>

namespace interstice::channels {

double Lump::half_height(const Eigen::Vector3d& up) const {
  return std::sqrt(3 * std::max(0.0, up.dot(spread * up)));
}

void CellGraph::index_doorways() {
  at.assign(cells.size(), {});
  for (const DoorwayIndex i : doorways.indices()) {
    at[doorways[i].a].push_back(i);
    at[doorways[i].b].push_back(i);
  }
}

void LumpSum::add(const Eigen::Vector3d& p, double weight) {
  if (weight_ == 0) first_ = p;  // sums about a point nearby lose no digits
  const Eigen::Vector3d d = p - first_;
  weight_ += weight;
  sum_ += weight * d;
  second_ += weight * d * d.transpose();
}

Lump LumpSum::lump() const {
  if (weight_ <= 0) return {};
  const Eigen::Vector3d mean = sum_ / weight_;
  return {first_ + mean, second_ / weight_ - mean * mean.transpose()};
}

}  // namespace interstice::channels
