// Lines and areas on the form itself, not on its map: mm, mm^2.
#pragma once

#include <vector>

#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice::geometry {

// The straightest way between two places of the form (their chord, brought down to the form), both ends
// included.
std::vector<Eigen::Vector2d> surface_line(const Profile& form, const Eigen::Vector2d& from,
                                          const Eigen::Vector2d& to, double step_mm);

// Area on the form enclosed by a polygon on the map (the map's area times its local scale), mm^2.
double surface_area(const Profile& form, const Polygon& on_map);
// Area of the whole form from pole to rim.
double surface_area(const Profile& form);

}  // namespace interstice::geometry
