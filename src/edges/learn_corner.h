// How the corners of a bowl's pieces are broken, from all of its pieces: each alone says it poorly, as its
// edges may show either end of the broken corner.
#pragma once

#include <vector>

#include "edges/trace_arris.h"

namespace interstice::edges {

// `heights_mm`: of the faces over the traced arris planes; their median is the height, how much they differ
// its uncertainty; likewise the width, from what each piece's steep views say against its others. Where views
// onto the wall see the edge is learnt from stretches whose arris the contours of other views give: from the
// root mean square of how far the two lie apart, as a share of the strip's width. With fewer than eight
// pieces, or corners too sharp to tell, what is known beforehand stays. `traced_with`: what the pieces were
// traced with.
BrokenCorner learn_corner(const std::vector<double>& heights_mm,
                          const std::vector<const TracedArris*>& pieces,
                          const BrokenCorner& traced_with = {});

}  // namespace interstice::edges
