// What a photo says by itself about its focal length.
//
// Photos of one lens share its focal length, but for focusing. A photo that was cut, zoomed or taken with
// another lens and brought to the size of the others does not, and while its pose is free it looks like one
// taken from further away. Here pose and focal length of one photo are solved from its own pixels alone, with
// cards and tie points held where all photos together have them.
#pragma once

#include <limits>
#include <optional>

#include "scan/bundle.h"

namespace interstice::scan {

// Paper lies and prints no better than this; a card that moved by less moves no camera by more than its
// stated uncertainty.
inline constexpr double kSheetFlat_mm = 0.15;

struct OwnFocus {
  double factor = 1;  // its own focal length over the one it has in the bundle
  // Standard deviation of the factor, from the pixels' noise and the sheets' flatness; infinite when the
  // photo's corners do not settle its focal length.
  double sd = std::numeric_limits<double>::infinity();
};

OwnFocus own_focus(const Bundle& bundle, geometry::PhotoIndex photo);

// A phone's lens of 6 mm refocused between 0.3 and 0.6 m moves by f / d: 1 % (thin lens equation).
inline constexpr double kRefocus = 0.02;

// The photo whose own corners speak most clearly against the focal length it has from the other photos of its
// lens, by more than refocusing explains and five standard deviations; none if no photo's do.
std::optional<geometry::PhotoIndex> against_its_lens(const Bundle& bundle);

// Whether such a photo would be noticed: a focal length beyond refocusing lies three standard deviations off.
bool settles_its_lens(const Bundle& bundle, geometry::PhotoIndex photo);

}  // namespace interstice::scan
