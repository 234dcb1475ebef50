// First poses of photos and cards, from the cards alone.
//
// Each card seen in a photo gives camera_T_card (plane pose, both solutions tried, refined by least squares);
// photos and cards are then joined along the best-measured links, starting from the card most photos see. How
// the cards lie to each other is solved, not assumed. Photos that show no card, or only cards not linked to
// the others, are left out and named. Errors: MeasureError when fewer than three photos join up.
#pragma once

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "camera/cards.h"
#include "camera/lens.h"
#include "scan/bundle.h"

namespace interstice::scan {

struct PhotoCards {
  std::size_t photo = 0;  // the caller's number
  camera::Lens lens;      // start values
  std::vector<camera::CardView> views;
  bool has_exif = true;  // its file says which camera or lens took it
};

struct LeftOutPhoto {
  std::size_t photo = 0;
  std::string reason;
};

struct CardPoses {
  Bundle bundle;                    // corners filled, no tie points; lenses not grouped: one a photo
  std::vector<std::size_t> photos;  // the caller's number of each photo in the bundle
  std::vector<int> cards;           // card number of each card in the bundle
  std::vector<LeftOutPhoto> left_out;
};

// One card of a photo by itself, by the better of the two poses of a plane.
struct CardPose {
  Eigen::Isometry3d camera_T_card;
  double rms_px = 0;
  std::size_t corners = 0;
  // Many corners, small residual; smaller is better.
  double cost() const { return (rms_px + 0.1) / std::sqrt(static_cast<double>(corners)); }
};
std::optional<CardPose> card_pose(const camera::Lens& lens, const camera::CardView& view, double print_scale);

// print_scale: measured over nominal length of the check line.
CardPoses poses_from_cards(const std::vector<PhotoCards>& photos, double print_scale);

// Level frame: z = 0 in the plane through all cards' corners, z out of the paper, origin in their middle.
Eigen::Isometry3d level_T_bench(const Bundle& bundle);

}  // namespace interstice::scan
