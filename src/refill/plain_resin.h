// What plain resin looks like about a place in one photo: resin that mirrors no lamp there.
//
// From all that is near: at first hollow or not, most seams are filled; then without what looked hollow. And of the
// same seam alone, where enough resin of it stands: one seam lies alike under the light and mirrors the same, the next
// one may not (black resin's light is mostly what it mirrors). Of that the densest part counts: a hollow not yet found
// or a lamp's image is none as long as more of the seam is plain. A seam whose resin would be as dark as a hollow's
// floor beside what else is near may be all hollow: then only what is near counts.
#pragma once

#include <utility>
#include <vector>

#include "refill/band_views.h"

namespace interstice::refill {

using CellsAndViews = std::vector<std::pair<std::size_t, std::size_t>>;  // numbers of cells and of views

// Of the light of plain resin, on the floor of a slot two thirds as deep as it is wide: the sine of half the angle it
// sees the sky under. Deeper ones are darker.
constexpr float kFloorLight = 0.6f;

// Of the light of wood that resin mirrors, at most: Schlick's approximation for a refractive index of 1.5 (Computer
// Graphics Forum 13, 1994, p. 233), twice over for what is known of it.
float wall_in_resin(const Eigen::Vector3f& wood, float cosine);

float light_sum(const Eigen::Vector3f& light);  // mean of the channels
float bright(const Eigen::Vector3f& codes);     // along the grey axis
Eigen::Vector3f codes(const Eigen::Vector3f& light);

// By view; NaN: not known.
struct PlainResin {
  std::vector<Eigen::Vector3f> light;  // of what is near: the darker half, so of resin's own hue
  std::vector<Eigen::Vector3f> own;    // of that seam alone
};

// The middle of the densest two fifths, by brightness, of at least one light.
Eigen::Vector3f densest_part(std::vector<Eigen::Vector3f> light);

class PlainLearner {
 public:
  PlainLearner(const Band& band, const BandViews& views, const std::vector<CellsAndViews>& of_photo);

  // `resin`: by cell, whether it counts; `all_near`: as long as hollows are among them.
  PlainResin learn(const std::vector<char>& resin, bool all_near, int threads) const;

 private:
  struct Seen {
    std::size_t block;
    Eigen::Vector3f light;
  };
  struct Place {  // of a seam in a block of the map
    std::size_t seam = 0, block = 0;
  };
  // In one photo.
  struct Known {
    std::vector<Eigen::Vector3f> near;  // by block
    std::vector<Eigen::Vector3f> own;   // by place; NaN: not known
  };
  Known learn_photo(const CellsAndViews& seen, const std::vector<char>& resin, bool all_near) const;
  std::vector<char> may_be_hollow(const std::vector<Known>& known) const;
  std::size_t block_of(const BandCell& cell) const;
  bool within(std::size_t a, std::size_t b, int reach) const;
  Eigen::Vector3f look_about(const std::vector<std::vector<Eigen::Vector3f>>& blocks, std::size_t b,
                             bool all_near) const;

  const Band& band_;
  const BandViews& views_;
  const std::vector<CellsAndViews>& of_photo_;
  int side_ = 0;
  std::size_t seams_ = 0;
  std::vector<Place> places_;
  std::vector<std::size_t> place_of_;  // by cell
};

}  // namespace interstice::refill
