// For options that take one of a few words: the word's value, or one line that says which words there are.
#pragma once

#include <CLI/CLI.hpp>
#include <map>
#include <string>

namespace interstice::app {

// Case does not matter. CLI11 reads enumerations from whole numbers.
template <class T>
CLI::Validator one_of(const std::map<std::string, T>& values) {
  std::map<std::string, std::string> written;
  std::string words;
  for (const auto& [word, value] : values) {
    words += (words.empty() ? "" : ", ") + word;
    if constexpr (std::is_enum_v<T>) {
      written[word] = std::to_string(static_cast<int>(value));
    } else {
      written[word] = std::to_string(value);
    }
  }
  return CLI::Validator(
      [written, words](std::string& text) {
        const auto it = written.find(CLI::detail::to_lower(text));
        if (it == written.end()) return "\"" + text + "\" is not one of " + words;
        text = it->second;
        return std::string();
      },
      words);
}

}  // namespace interstice::app
