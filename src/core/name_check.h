// Text from outside, looked at before any of it is shown: names of pieces and photos, notes, file names.
//
// Text is UTF-8. Characters that do not show, turn the reading direction, command a terminal or end a line
// (Unicode categories Cc with C0 and C1, Cf but for the zero-width joiners that some scripts are written
// with, Zl, Zp, Cs, Cn) make two different names look alike or a table lie: readers refuse them, what must be
// shown all the same is escaped.
#pragma once

#include <optional>
#include <string>

namespace interstice::core {

enum class Lines { one, many };  // many: LF and tab are allowed

// The first such character, or that the text is not UTF-8: "holds the invisible or control character U+202E".
std::optional<std::string> character_fault(const std::string& text, Lines lines = Lines::one);

// The text in Unicode normal form C, without spaces at its ends. Throws InputError(what, ...) when it is
// empty, over `max_bytes`, or has a character_fault().
std::string checked_name(const std::string& text, const std::string& what, std::size_t max_bytes = 200);

// The text with every byte of such characters as \xNN, so that it can be shown whatever it is.
std::string escaped(const std::string& text, Lines lines = Lines::one);

// ASCII letters made lower-case, all other bytes as they are: for file endings and names of formats.
std::string lower_ascii(std::string text);

}  // namespace interstice::core
