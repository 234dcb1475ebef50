// What to do, in the words of the bench.
#pragma once

#include <string>

#include "pour/pour_document.h"

namespace interstice::pour {

// `prop_mm`: height of what goes under the rim on the raised side.
std::string words_for_tilt(double tilt_deg, const std::string& up,
                           const std::optional<double>& prop_mm = std::nullopt);
std::string words_for_pour(const PourDocument& document, std::size_t pour);

}  // namespace interstice::pour
