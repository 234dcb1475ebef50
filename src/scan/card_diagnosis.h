// What is wrong with a card that does not agree with the others.
#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

#include "scan/cards_agree.h"

namespace interstice::scan {

// Views of fewer corners say too little of how a card lies.
inline constexpr std::size_t kFewCorners = 6;

// Says in what a card left out disagrees: another size, or two places, with the photo from which on it lies
// elsewhere (photos in the order of their names).
// `without`: a solution that did not use it. `name`: of a photo, by the caller's number.
std::string what_is_odd(int card, const CardSolution& without, const std::vector<PhotoCards>& photos,
                        double print_scale, const std::function<std::string(std::size_t)>& name);

}  // namespace interstice::scan
