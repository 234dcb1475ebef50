// Cards and features as bytes, for keeping them (core/kept_work.h), on the machine that wrote them. Reading gives
// nothing for bytes that hold no such thing; every count and number is looked at before it is used.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "camera/cards.h"
#include "scan/features.h"

namespace interstice::scan {

std::string bytes_of(const std::vector<camera::CardView>& cards);
std::optional<std::vector<camera::CardView>> cards_from_bytes(const std::string& bytes);

// As found: descriptors CV_8U.
std::string bytes_of(const Features& features);
std::optional<Features> features_from_bytes(const std::string& bytes);

}  // namespace interstice::scan
