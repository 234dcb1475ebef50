// Indices of the channel network: a station is no cell, and a channel no seam
// of the fit (that is a SeamIndex).
#pragma once

#include "geometry/index.h"

namespace interstice::channels {

using ChannelIndex = geometry::Index<struct ChannelTag>;
using StationIndex = geometry::Index<struct StationTag>;
using CellIndex = geometry::Index<struct CellTag>;
using DoorwayIndex = geometry::Index<struct DoorwayTag>;

template <class T>
using ByChannel = geometry::IndexedVector<ChannelIndex, T>;
template <class T>
using ByStation = geometry::IndexedVector<StationIndex, T>;
template <class T>
using ByCell = geometry::IndexedVector<CellIndex, T>;

}  // namespace interstice::channels
