// What the readers of drawings share: curves as chords, and pieces of one line joined at their ends.
#pragma once

#include <string>
#include <vector>

#include "layout/form_input.h"

namespace interstice::layout {

using Polyline = std::vector<Eigen::Vector2d>;

constexpr int kChords = 24;  // a curve

// Lines joined where their ends meet, in whatever order and sense they were drawn: ends meet within a
// ten-thousandth of the drawing's size. Closed lines stay as they are.
std::vector<Polyline> joined(std::vector<Polyline> lines);

// The one line of at least 3 points; straight lines by themselves (an axis, a base line) do not count. Throws
// InputError where there are none or several.
const Polyline& the_only(const std::vector<Polyline>& lines, const std::string& file);

}  // namespace interstice::layout
