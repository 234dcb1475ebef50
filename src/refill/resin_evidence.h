// For and against standing resin, cell by cell, from every photo that shows it.
//
// What resin looks like is learnt from this bowl and this photo: the median colour of the band's cells about a
// place (most seams are filled; cells found hollow are left out the next time round), so that its colour, the
// light and the camera's rendering need not be known. A cell of standing resin then shows
//     light = shade * resin + gloss,   shade about 1, gloss >= 0 and white,
// mixed with the wood beside it as far as the spot reaches over the edge. What counts against resin, in standard
// deviations learnt from the cells themselves: darker than resin is here (the floor of a hollow), and another
// colour than resin in any shade or gloss can have (the wood of a wall). A reflection is neither. What an outline
// off by its own uncertainty would explain is not counted. A view in which a hollow's floor would be as bright as the
// resin (black resin that mirrors nothing) counts for hollow by what it shows, against it as far as it can tell.
//
// The result is a log of odds, hollow to filled: mean over the views (they share light and resin, so they do not
// add up as independent ones would), pooled over neighbouring cells.
#pragma once

#include <vector>

#include "refill/band_views.h"

namespace interstice::refill {

struct CellEvidence {
  float log_odds = 0;  // hollow to filled; positive: hollow
  float weight = 0;    // how much was seen of it, 0: nothing
  float hue = 0;       // share of what was seen that has another hue than resin
  float shade = 1;     // its light over that of plain resin there
};

constexpr float kProvedResin = -0.3f;  // log of odds below which a cell is resin: 1.35 to 1
constexpr float kBeyondDoubt = 1.1f;   // and above which it is hollow beyond doubt: three to one

struct ResinLook {
  // Of each view in BandViews: the resin's light expected there, B G R; NaN: not known.
  std::vector<Eigen::Vector3f> light;
  std::vector<CellEvidence> cells;
};

ResinLook weigh_resin(const Band& band, const BandViews& views,
                      const std::vector<std::vector<Eigen::Vector3f>>& wood, std::size_t photos, int threads);

}  // namespace interstice::refill
