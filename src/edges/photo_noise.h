// How much less surely than the others a photo shows edges: because it is smeared, out of focus, noisier or not where
// it is taken to be.
//
// Model: readings of an edge err by their stated standard deviation times a factor of their photo. The factor is the
// robust size of what all pieces' readings in that photo are off the fitted edges, over the median of that of all
// photos, and at least 1: what all photos have in common is each piece's own matter (TracedArris::noise_scale). A
// photo's own readings draw the edges a little towards themselves, so a bad one's factor is rather too small.
#pragma once

#include <vector>

#include "edges/trace_arris.h"

namespace interstice::edges {

// By photo; 1 for photos that show too little to tell. Deterministic, and no matter in which order pieces come.
PhotoNoise photo_noise(const std::vector<const TracedArris*>& traced, std::size_t photos);

}  // namespace interstice::edges
