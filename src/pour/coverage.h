// Is everything on? Pieces, seams and the form's area.
#pragma once

#include "channels/void_grid.h"
#include "pour/pour_document.h"

namespace interstice::pour {

Coverage coverage_of(const seams::FitDocument& fit, const plan::Plan& plan,
                     const channels::ShellSolids& shell, const channels::VoidGrid& grid);

// Lines saying what stands in the way of pouring, pieces first. `rings_to_come`: name rings not begun too.
std::vector<std::string> coverage_reasons(const Coverage& coverage, bool rings_to_come);

std::string joined(const std::vector<std::string>& words, std::size_t most = 8);
std::string joined(const std::vector<TilePair>& pairs, std::size_t most = 8);

}  // namespace interstice::pour
