// What was found after a pour, in words for the bench. Lines of at most about 110 characters.
#pragma once

#include <string>
#include <vector>

#include "refill/refill_document.h"

namespace interstice::refill {

// Indices of the hollows, largest opening first, slots before pits.
std::vector<std::size_t> in_working_order(const RefillDocument& document);

// Predicted before the pour against what came: seams called clear and not, found filled, hollow, unseen.
struct Foretold {
  std::size_t clear_filled = 0, clear_hollow = 0, other_filled = 0, other_hollow = 0, unseen = 0;
};
Foretold foretold(const RefillDocument& document);

std::string hollow_words(const Hollow& hollow);           // one line, without its number
std::string lean_words(const RefillPour& pour);           // "lean it so that A07 is up, 40 degrees"
std::string limit_words(const RefillDocument& document);  // this maker's own smallest fill
std::string refill_list(const RefillDocument& document);  // standard output
std::vector<std::string> refill_cautions();
// Every seam is seen and filled.
bool nothing_left(const RefillDocument& document);

}  // namespace interstice::refill
