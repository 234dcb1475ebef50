// With how many of its pixels a photo is carried through the measuring.
//
// Model. An edge of spread s (pixels of the file, camera/edge_spread.h) has the spectrum exp(-2 pi^2 s^2 f^2), f in
// cycles a pixel. White noise leaves information on the edge's place in proportion to that squared, so the share
// beyond f is erfc(2 pi s f). A picture of a k-th of the sides holds f up to 1 / (2 k): carrying it loses
// erfc(pi s / k) of the information. Where that is at most a fifth (a tenth of the part of a place's standard uncertainty
// that comes from noise), the optics do not fill the file's pixels and the reduced picture is carried. A camera
// that sharpens its pictures narrows edges and raises noise alike, so that more is thought to be lost than is. Places
// that leave the program are in pixels of the file.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "camera/photo.h"
#include "core/kept_work.h"

namespace interstice::scan {

// 1, 2 or 4: what a photo of this size with edges of this spread may be divided by. At least four megapixels are
// carried, and photos of less than sixteen whole. Nothing known of its edges: 1.
int resolved_reduction(const camera::PhotoInfo& whole, std::optional<double> spread_px);

// Settles it for a scan's photos (nothing stands for one that cannot be read), the same for all of one lens (photo_lenses.h),
// from the edges of some of them: from the sharper quarter, so that a shaken hand does not decide. Where even so the
// pictures would take more than half of the memory this process may use, the large ones are carried smaller.
// Returns one line that says so for the maker; empty when all are carried whole. `kept` may be null.
std::string carry_resolved_pixels(std::vector<std::optional<camera::PhotoInfo>>& photos,
                                  const core::KeptWork* kept, int threads);

}  // namespace interstice::scan
