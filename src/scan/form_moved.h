// Whether the form stood in one place while it was photographed.
//
// Cards that agree say nothing of the form: it may have been pushed over the bench between two photos. Points
// found in pairs of neighbouring photos lie on the pieces' faces or on the bare form; where the pairs of the
// earlier photos put the axis is held against where those of the later ones do. Frame `bench_level`, mm.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>
#include <vector>

#include "geometry/profile.h"
#include "scan/seat.h"
#include "scan/tie_points.h"

namespace interstice {

// The first photo that shows it elsewhere, roughly; nothing when it stood still as far as the
// points can tell: 2 mm were noticed in rendered scenes, 1 mm was not. Photos in the order they were
// taken in.
std::optional<std::size_t> form_moved(const std::vector<PairPoints>& pairs, std::size_t photos,
                                      const Profile& profile, const Seat& seat, int threads);

}  // namespace interstice
