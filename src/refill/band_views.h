// What the photos show of each cell of the band.
//
// A photo shows a cell when the cell lies in its frame, is seen at least 20 degrees off grazing, and no piece
// stands between. Colours are means over a small Gaussian spot (0.2 mm on the bowl, 0.8 pixels at least): single
// pixels are mostly noise. They are code values (B G R, 0 to 255) as the camera wrote them, and light is linear
// (IEC 61966-2-1, the sRGB curve).
#pragma once

#include <Eigen/Core>
#include <vector>

#include "refill/band.h"
#include "refill/registration.h"

namespace interstice::refill {

struct CellView {
  geometry::PhotoIndex photo;
  float cosine = 0;  // between the cell's normal and the direction to the camera
  Eigen::Vector3f codes = Eigen::Vector3f::Zero();  // B G R
};

struct BandViews {
  // Views of cell i: views[first[i]] to views[first[i + 1]], best first (square on and near).
  std::vector<std::size_t> first;
  std::vector<CellView> views;
};

constexpr std::size_t kMostViews = 8;  // of a cell: more say nothing new and cost time

// Light of a code value, 0 to 1, and back.
float light_of(float code);
float code_of(float light);
Eigen::Vector3f lights(const Eigen::Vector3f& codes);

// Mean colour of a spot of a photo, NaN outside it.
Eigen::Vector3f spot_codes(const cv::Mat& colour, const Eigen::Vector2d& at, double sigma_px);
// Burnt out: bright, and nothing more is known of it. Pale resin in hard light is; the floor of a hollow is not.
bool burnt(const Eigen::Vector3f& codes);
// Standard deviation of the spot in a photo, pixels.
double spot_px(const scan::Scan& scan);

BandViews view_band(const scan::Scan& scan, const Pictures& pictures, const Band& band, int threads);

// Colours of the faces along the pieces' edges, a little inside: by piece and photo, the median; NaN unseen.
std::vector<std::vector<Eigen::Vector3f>> wood_codes(const scan::Scan& scan, const Pictures& pictures,
                                                     const Band& band, int threads);

}  // namespace interstice::refill
