// What the readers of drawings share.
#pragma once

#include <string>
#include <vector>

#include "layout/form_input.h"

namespace interstice::layout {

using Polyline = std::vector<Eigen::Vector2d>;

constexpr int kChords = 24;  // a curve

// Throws InputError where there are none or several.
const Polyline& the_only(const std::vector<Polyline>& lines, const std::string& file);

}  // namespace interstice::layout
