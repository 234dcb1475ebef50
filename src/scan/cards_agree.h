// Cards that keep neither their place nor their size are found out before anything is measured from them.
//
// All photos and cards are solved together. Where the corners of a card in a photo lie off the solution as a
// whole, the solution is made again without each card and each such photo in turn; the one without which the
// others agree is left out and named. More than half of the cards, and three quarters of the photos, must
// stay: which half of two is the wrong one nobody can say. Errors: MeasureError when no such majority agrees.
// Then every photo is held against its lens (own_focus.h); left out is also a photo without EXIF whose cards
// do not settle its focal length: cut by hand it would look the same.
#pragma once

#include <functional>

#include "scan/card_poses.h"

namespace interstice::scan {

struct CardSolution {
  CardPoses poses;
  BundleOptions options;
  BundleSummary summary;
  // Corners that do not fit flat cards: of a card that bends they may be right.
  std::vector<CornerObservation> set_aside;
};

using SolveCards = std::function<CardSolution(const std::vector<PhotoCards>&)>;

struct OddCard {
  int card = 0;
  std::string reason;
};

struct AgreedCards {
  CardSolution solution;
  std::vector<OddCard> odd_cards;
  std::vector<LeftOutPhoto> odd_photos;
};

// `solve` takes prints of `print_scale`; `name` gives the name of a photo by the caller's number.
AgreedCards solve_agreeing_cards(std::vector<PhotoCards> photos, double print_scale, const SolveCards& solve,
                                 const std::function<std::string(std::size_t)>& name);

}  // namespace interstice::scan
