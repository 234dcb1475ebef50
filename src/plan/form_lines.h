// What the readers of drawings share.
#pragma once

#include <string>
#include <vector>

#include "plan/form_input.h"

namespace interstice {

using Polyline = std::vector<Eigen::Vector2d>;

constexpr int kChords = 24;  // a curve

// Throws InputError where there are none or several.
const Polyline& the_only(const std::vector<Polyline>& lines, const std::string& file);

}  // namespace interstice
