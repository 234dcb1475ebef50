// The void as a graph of channel cells: small lumps of space, and the doorways between them.
//
// A lump is known by its centre and its spread (covariance of its points), so that its highest and lowest
// point in any direction can be told: centre +- sqrt(3) sigma, exact for a box along its axes. A spread of
// zero is a point. Two cells share a doorway only where they share a face, never across an edge or a corner.
// Bowl frame, mm.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "channels/index.h"

namespace interstice::channels {

struct Lump {
  Eigen::Vector3d centre{0, 0, 0};
  Eigen::Matrix3d spread = Eigen::Matrix3d::Zero();

  double level(const Eigen::Vector3d& up) const { return centre.dot(up); }
  double half_height(const Eigen::Vector3d& up) const;
};

// A place where a cell can be opened to the air: its mouth under the tape, or where the shell ends.
struct Port {
  Lump place;
  bool mouth = true;  // false: an end of the shell (rim, open ring, hole)
};

struct ChannelCell {
  Lump body;
  double volume_mm3 = 0;
  StationIndex station;   // the place along a seam it belongs to
  std::size_t depth = 0;  // which of the station's cells, counted from the form
  std::vector<Port> ports;
};

struct Doorway {
  CellIndex a, b;
  Lump place;
  double area_mm2 = 0;
};

struct CellGraph {
  ByCell<ChannelCell> cells;
  geometry::IndexedVector<DoorwayIndex, Doorway> doorways;
  ByCell<std::vector<DoorwayIndex>> at;  // doorways of each cell

  CellIndex other_side(DoorwayIndex doorway, CellIndex cell) const {
    return doorways[doorway].a == cell ? doorways[doorway].b : doorways[doorway].a;
  }
  void index_doorways();  // fills `at`; call after cells and doorways are complete
};

// Gathers points with weights into a lump.
class LumpSum {
 public:
  void add(const Eigen::Vector3d& p, double weight);
  double weight() const { return weight_; }
  Lump lump() const;

 private:
  double weight_ = 0;
  Eigen::Vector3d first_{0, 0, 0}, sum_{0, 0, 0};
  Eigen::Matrix3d second_ = Eigen::Matrix3d::Zero();
};

}  // namespace interstice::channels
