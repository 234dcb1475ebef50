// The bare form's own shape from photos: its meridian with an uncertainty at every height, how far from round
// it is, and what the photos do not show.
//
// Model: a surface of revolution (profile) and a height field over it. Heights are swept over a first profile,
// the profile and the axis are moved to where the heights say, and swept again; no drawing is known. Frame
// `bowl`: axis z upright on the bench, rim plane z = 0; mm. A form that leans keeps this frame: the lean is
// told. Errors: MeasureError when the surface gives the photos nothing to compare.
#pragma once

#include <functional>
#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "form/budget.h"
#include "geometry/profile.h"
#include "scan/scan.h"
#include "surface/height_field.h"
#include "surface/pictures.h"

namespace interstice::form {

// A place that stands out of the round form, or back.
struct Bump {
  Eigen::Vector2d uv;    // where it is highest, on the map
  double height_mm = 0;  // there; negative: a hollow
  double across_mm = 0;  // widest extent at half that height
};

// One ring round the form.
struct Ring {
  double rho = 0, r_mm = 0, z_mm = 0;
  double out_of_round_mm = 0;       // highest less lowest place of the ring along the normal, bumps left out
  Eigen::Vector2d centre_mm{0, 0};  // of the ring, off the axis; over the bench
  double oval_mm = 0;               // largest less smallest diameter
  double oval_angle = 0;            // rad: where the largest lies, 0 to pi
};

struct Shape {
  geometry::Profile profile;                     // measured, pole to rim
  std::vector<double> u95_mm;                    // at its points, along the normal, coverage 95 %
  std::vector<PointBudget> budget;               // at its points: what u95 is made of
  std::vector<char> seen;                        // at its points: whether the photos show the form there
  double unseen_pole_mm = 0, unseen_rim_mm = 0;  // stretch of the meridian at its ends gone on by its bend
  double seen_share = 0;                         // of the form's area
  double scatter_mm = 0;                         // of single places about the model
  std::vector<Ring> rings;                       // from below upwards
  std::vector<Bump> bumps;                       // largest first
  double lean_deg = 0, lean_angle = 0;  // of the line through the rings' middles; rad, where its top leans to
  surface::HeightField heights;         // over `profile`
  cv::Mat surface;  // CV_32F, heights without noise and holes: what is out of round, and bumps
};

struct ShapeOptions {
  double grid_mm = 1.0;
  double scale_sd = 0;         // relative
  double cards_uneven_mm = 0;  // see BareScan
  int threads = 0;
  std::function<void(const std::string&)> progress = [](const std::string&) {};
};

// A scan moved so that its z axis is the form's, and the form's shape in that frame.
struct PlacedShape {
  scan::Scan scan;
  Shape shape;
};

// `rough` is good to a few millimetres. `pictures`: one a photo; left out, they are read.
PlacedShape measure_shape(scan::Scan scan,
                          const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                          const geometry::Profile& rough, const ShapeOptions& options);
PlacedShape measure_shape(scan::Scan scan, const geometry::Profile& rough, const ShapeOptions& options);

}  // namespace interstice::form
