// How the plan's pattern is turned on the form, found from the colours of the pieces.
//
// The map picture at the faces' height is compared with the plan at every turn: at the right one, pixels of
// one planned piece look alike and differ from their neighbours and from the seams. The measure is the share
// of the picture's variance explained by the plan's regions (analysis of variance); no datum mark is needed.
#pragma once

#include <opencv2/core/mat.hpp>
#include <vector>

#include "geometry/polygon.h"
#include "plan/plan.h"
#include "surface/map_grid.h"

namespace interstice::surface {

struct Turn {
  double angle = 0;      // rad: the plan's x axis lies at this angle in the scan's frame, counter-clockwise
  double explained = 0;  // share of variance explained there, 0 to 1
  double clearance = 0;  // how far that stands above the other turns, in standard deviations of those
  double over_surroundings = 0;  // the same above the turns within 15 degrees
};

// `picture`: as map_picture() makes it, at the faces' height. `mirrored` compares with the plan's mirror
// image.
Turn find_turn(const cv::Mat& picture, const MapGrid& grid, const plan::Plan& plan, double height_mm,
               bool mirrored = false, int threads = 0);

// What each planned piece's face covers on the map, `height_mm` above the form.
std::vector<geometry::Polygon> planned_on_map(const plan::Plan& plan, double height_mm,
                                              bool mirrored = false);

// Turns at which the outlines stand out most from those within 15 degrees, best first, none within three degrees of
// a better one; at most `most`. For a pattern that may hardly show: something else has to tell which of them is right.
std::vector<double> likely_turns(const cv::Mat& picture, const MapGrid& grid,
                                 const std::vector<geometry::Polygon>& outlines, std::size_t most,
                                 int threads);

// The same for a picture of these very pieces at another time: turns at which the wood within the outlines
// (on the map of `then`) looks most alike. What changes over centimetres is light and does not count.
std::vector<double> alike_turns(const cv::Mat& now, const cv::Mat& then, const MapGrid& grid,
                                const std::vector<geometry::Polygon>& outlines, std::size_t most,
                                int threads);

}  // namespace interstice::surface
