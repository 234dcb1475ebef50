// The seams as channels: stations along their length with width, depth and volume, the junctions where they
// meet, the openings where the shell ends, and the cells air and resin move through.
//
// A station is a stretch of one seam up to 2 mm long, all of it too tight or none; its width is the narrowest
// mouth in it (3-D, as the fit gives it). Where the mouth passes the smallest fill is found between the fit's
// samples, taking the width as straight there. Every box of void belongs to the seam of the two pieces
// nearest to it and there to the nearest station, so the stations' volumes add up to the whole void. A
// station is cut into four cells from form to tape, each with the width that the walls leave at its depth.
// Bowl frame, mm.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "channels/cell_graph.h"
#include "channels/reach.h"
#include "channels/void_grid.h"

namespace interstice::channels {

inline constexpr std::size_t kDepthCells = 4;  // of a station, from form to tape

struct Station {
  ChannelIndex channel;
  double s_mm = 0;       // along the seam, its middle
  double length_mm = 0;  // 0 where a third piece is nearer (that length belongs to the junction)
  double width_mm = 0;   // narrowest mouth; infinity where the pieces are too far apart for a seam
  // Narrowest at the middle of each of its cells, from form to tape; infinity as above. May be below the
  // smallest fill where the mouth is not: the seam is pinched there.
  std::array<double, kDepthCells> width_at_mm{};
  double depth_mm = 0;  // from form to tape
  double volume_mm3 = 0;
  Eigen::Vector3d mouth{0, 0, 0};
  Eigen::Vector2d map{0, 0};
  bool seen = true;     // the mouth was measured here, not interpolated
  bool at_end = false;  // the shell ends here (rim, open ring, a hole)
};

struct WidthPoint {
  double s_mm = 0, width_mm = 0;
  double own = 1;  // 0 where a third piece is nearer
};

struct Channel {
  std::array<geometry::TileIndex, 2> tiles;
  std::optional<geometry::SeamIndex> fit_seam;  // empty: not listed (short, or only a corner meets)
  StationIndex first;
  std::size_t count = 0;          // of its stations
  std::vector<WidthPoint> mouth;  // along it, as sampled

  geometry::IndexRange<StationIndex> stations() const { return {first.value, first.value + count}; }

  double length_below_mm(double limit_mm) const;  // over which the mouth is narrower than the limit
  // The same as expected, given that there is such a length, if all widths may be wider or narrower together
  // (normal, one standard uncertainty given): where a seam only just passes the limit, the length at the
  // measured widths would be that of the error alone.
  double expected_length_below_mm(double limit_mm, double sd_mm) const;
};

struct Junction {
  std::vector<geometry::TileIndex> tiles;
  Eigen::Vector2d map{0, 0};
  Eigen::Vector3d at{0, 0, 0};  // at the mouth
  double volume_mm3 = 0;
};

struct ChannelNetwork {
  ByChannel<Channel> channels;
  ByStation<Station> stations;
  std::vector<WidthLink> links;  // between stations; width_mm is the narrower station's
  std::vector<Junction> junctions;
  CellGraph cells;
  double void_volume_mm3 = 0;

  std::vector<StationIndex> openings() const;  // stations at which the shell ends
};

ChannelNetwork channel_network(const seams::FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid,
                               double smallest_fill_mm, int threads);

}  // namespace interstice::channels
