// What the edges of all pieces together tell of where each photo shows things.
//
// Model. The pose of a photo, its rows, its focusing and what the lens leaves beyond its model each move what a photo
// shows smoothly over the frame, by s pixels:
//     s(photo, pixel) = a + B pixel + f(pixel)
// a, B: of each photo; f: a field that the photos of one lens share (camera/shift_field.h). All photos that show a
// point of an edge must show it in one place, wherever that is: a reading lies off the fitted edge by
// n . s / (pixels a mm), less the weighted mean of that over the point's readings, n across the edge in the picture.
// How views onto a wall and contours may err in common is solved for beside it. Bowl frame, mm, pixels.
//
// How free the shifts are is what the photos themselves say: the pieces are parted into halves, and the standard
// deviation is taken under which shifts learnt from one half explain the readings of the other best (cross-validation;
// M. Stone, J. R. Statist. Soc. B 36 (1974) 111, from memory); where none explains enough, there are no shifts.
#pragma once

#include <optional>
#include <vector>

#include "edges/trace_arris.h"

namespace interstice::edges {

// The scan with the photos' lenses moved by what the traced pieces show; none where they show less than a tenth of a
// pixel. The photos' covariances become what is left: scaled by the variance of the shifts (of what the covariances say,
// or of what was found, the larger) combined with that of learning them, by what the two halves differ.
std::optional<scan::Scan> with_photos_agreeing(const scan::Scan& scan,
                                               const std::vector<const TracedArris*>& traced);

}  // namespace interstice::edges
