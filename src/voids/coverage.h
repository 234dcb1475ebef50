// Is everything on? Pieces, seams and the form's area.
#pragma once

#include "voids/pour_document.h"
#include "voids/void_grid.h"

namespace interstice {

Coverage coverage_of(const FitDocument& fit, const Plan& plan, const ShellSolids& shell,
                     const VoidGrid& grid);

// Lines saying what stands in the way of pouring, pieces first. `rings_to_come`: name rings not begun too.
std::vector<std::string> coverage_reasons(const Coverage& coverage, bool rings_to_come);

std::string joined(const std::vector<std::string>& words, std::size_t most = 8);
std::string joined(const std::vector<TilePair>& pairs, std::size_t most = 8);

}  // namespace interstice
