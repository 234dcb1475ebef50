// The word that was probably meant.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace interstice::app {

// Letters to change, add, drop or swap with their neighbour to make one word of another (each letter is touched
// once: the optimal string alignment distance).
std::size_t letters_apart(const std::string& a, const std::string& b);

// The one of `words` with the fewest letters apart, the earlier of two alike; nothing when that is more than a
// third of the letters.
std::optional<std::string> nearest_word(const std::string& typed, const std::vector<std::string>& words);

}  // namespace interstice::app
