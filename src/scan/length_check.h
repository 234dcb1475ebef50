// How well lengths come out, told by the scan itself.
//
// Each card in turn is taken out of the scale: its corners become free points, everything is solved again
// without it, and lengths between its corners are compared with the printed ones. The result is a length
// measurement error in the manner of VDI/VDE 2634 part 1 (measured minus calibrated length); no conformity is
// claimed: the lengths are short, lie on the bench and share the check line's calibration.
#pragma once

#include "scan/bundle.h"

namespace interstice::scan {

struct LengthCheck {
  std::size_t lengths = 0;      // lengths compared
  double largest_error_mm = 0;  // signed, of largest size
  double rms_error_mm = 0;
  double longest_mm = 0;
};

LengthCheck check_lengths(const Bundle& bundle, const BundleOptions& options);

}  // namespace interstice::scan
