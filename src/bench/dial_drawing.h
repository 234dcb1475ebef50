// The dial as a drawing.
#pragma once

#include <string>

#include "bench/dial.h"

namespace interstice::bench {

// A clock face seen from above, the low ring outside, the high ring within, views from above in the middle:
// where photos were taken (filled) and where more are needed (open, dashed). A title says the same in words.
std::string dial_svg(const Dial& dial, const ViewCoverage& coverage);

}  // namespace interstice::bench
