// A check for options that take a number: within [low, high], and a number at all ("nan" passes comparisons
// that ask whether it is too small or too large).
#pragma once

#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <string>

namespace interstice::app {

inline CLI::Validator number_between(double low, double high) {
  const std::string words = fmt::format("{:g} to {:g}", low, high);
  return CLI::Validator(
      [low, high, words](const std::string& text) {
        double value = 0;
        const bool good = CLI::detail::lexical_cast(text, value) && value >= low && value <= high;
        return good ? std::string() : "\"" + text + "\" is not a number from " + words;
      },
      words);
}

}  // namespace interstice::app
