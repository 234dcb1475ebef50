// How the shell is turned about its axis in photos taken after the pour.
//
// After a pour the plan's pattern may hardly show: resin as light as the wood, or both near-black. What is known then
// is more than the plan: where every piece was measured to be, and how its wood looked. Both give turns that may be
// right: outlines that stand out (surface/pattern_azimuth.h), and wood that looks alike. Which of them is right the
// pieces tell, each looked for where the dry measurement has it: at a wrong turn hardly any two agree.
// Errors: MeasureError when they do at none.
#pragma once

#include <optional>

#include "plan/plan.h"
#include "refill/registration.h"
#include "surface/surface_document.h"

namespace interstice::refill {

struct DryShell {
  const seams::FitDocument& fit;
  std::optional<surface::MapPicture> picture;  // of before the pour, as its surface.json lays it out
};

// rad: the dry measurement's x axis lies at this angle in the scan's frame, counter-clockwise.
double find_shell_turn(const scan::Scan& scan, const DryShell& dry, const plan::Plan& plan, int threads);

// What each piece's measured face covers on the plan's map; empty for pieces that were not placed.
std::vector<geometry::Polygon> measured_on_map(const seams::FitDocument& fit,
                                               const geometry::Profile& profile);

// A true-ortho picture on another grid of the same map: CV_32FC3, each cell the mean of what it covers; NaN unseen.
cv::Mat on_grid(const surface::MapPicture& picture, const surface::MapGrid& grid);

}  // namespace interstice::refill
