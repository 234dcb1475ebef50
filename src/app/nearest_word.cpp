#include "app/nearest_word.h"

#include <algorithm>

namespace interstice::app {

std::size_t letters_apart(const std::string& a, const std::string& b) {
  std::vector<std::size_t> above2(b.size() + 1), above(b.size() + 1), row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    above2 = above;
    above = row;
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      row[j] = std::min({above[j] + 1, row[j - 1] + 1, above[j - 1] + (a[i - 1] != b[j - 1])});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) row[j] = std::min(row[j], above2[j - 2] + 1);
    }
  }
  return row[b.size()];
}

std::optional<std::string> nearest_word(const std::string& typed, const std::vector<std::string>& words) {
  std::optional<std::string> best;
  std::size_t fewest = 0;
  for (const std::string& word : words) {
    const std::size_t apart = letters_apart(typed, word);
    const bool near = 3 * apart <= std::max<std::size_t>(word.size(), 3);
    if (!near || (best && apart >= fewest)) continue;
    best = word;
    fewest = apart;
  }
  return best;
}

}  // namespace interstice::app
