// Where the form lies in one photo as against another.
//
// Once heights are known, the form's picture in every photo is held against those of its neighbours, moved
// over the bench step by step: where the two agree best, there it lies. Frame `bowl`, mm; pushes up to 15 mm
// along either axis. A form turned on the spot shows as a push of the side that a photo sees. On rendered
// scans of a form that stood still the differences stay within 0.4 mm; a push is found to about a tenth of
// its size.
#pragma once

#include <cstddef>
#include <vector>

#include "scan/scan.h"
#include "surface/height_field.h"
#include "surface/pictures.h"

namespace interstice::surface {

// The form in photo `second` as against photo `first`.
struct PlaceDifference {
  geometry::PhotoIndex first, second;
  Eigen::Vector2d moved_mm = Eigen::Vector2d::Zero();
  double agreement = 0;   // correlation of the two pictures there
  double above = 0;       // over the best one 3 mm and more away
  std::size_t cells = 0;  // places of the form that both show

  // Whether the best place is more than chance.
  bool sure() const;
};

// Of each photo with its nearest neighbours. `pictures` as read_pictures() gives them.
std::vector<PlaceDifference> place_differences(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
    const geometry::Profile& profile, const HeightField& heights, int threads);

}  // namespace interstice::surface
