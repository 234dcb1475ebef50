// The two ways a stage can refuse its work. Stages throw; only src/app prints and exits.
#pragma once

#include <stdexcept>
#include <string>

namespace interstice::core {

// A command line or an input file that cannot be read or is not valid (exit 2).
// The text is one line: which file, what is wrong, where in the file.
class InputError : public std::runtime_error {
 public:
  explicit InputError(const std::string& line) : std::runtime_error(line) {}
  InputError(const std::string& file, const std::string& what) : std::runtime_error(file + ": " + what) {}
};

// Readable photos that cannot be measured: too few cards, no overlap, no form found (exit 3).
// The text is one line that ends by saying what to do.
class MeasureError : public std::runtime_error {
 public:
  explicit MeasureError(const std::string& line) : std::runtime_error(line) {}
};

// Makes text safe to show in one line: control characters become \xNN, over-long text is cut in the middle.
std::string one_line(const std::string& text, std::size_t max_bytes = 200);

}  // namespace interstice::core
