// What to do, in the words of the bench.
#pragma once

#include <string>

#include "pour/pour_document.h"

namespace interstice::pour {

std::string words_for_tilt(double tilt_deg, const std::string& up);
std::string words_for_pour(const PourDocument& document, std::size_t pour);

}  // namespace interstice::pour
