#include "core/name_check.h"

#include <fmt/core.h>

#include <utf8proc.h>

#include <cstdlib>

#include "core/errors.h"

namespace interstice::core {
namespace {

bool is_unsafe(utf8proc_int32_t c, Lines lines) {
  constexpr utf8proc_int32_t kZeroWidthNonJoiner = 0x200c, kZeroWidthJoiner = 0x200d;
  if (lines == Lines::many && (c == '\n' || c == '\t')) return false;
  if (c >= 0x20 && c < 0x7f) return false;
  switch (utf8proc_category(c)) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
    case UTF8PROC_CATEGORY_CS:
    case UTF8PROC_CATEGORY_CN:  // not a character (yet): folding it may change with the next edition of
                                // Unicode
      return true;
    case UTF8PROC_CATEGORY_CF:
      return c != kZeroWidthNonJoiner && c != kZeroWidthJoiner;
    default:
      return false;
  }
}

// Calls each(bytes from, count, character) along the text; the character is -1 where it is not UTF-8.
template <class Each>
void for_each_character(const std::string& text, Each each) {
  for (std::size_t at = 0; at < text.size();) {
    utf8proc_int32_t c = -1;
    const utf8proc_ssize_t n = utf8proc_iterate(reinterpret_cast<const utf8proc_uint8_t*>(text.data()) + at,
                                                static_cast<utf8proc_ssize_t>(text.size() - at), &c);
    const std::size_t count = n > 0 ? static_cast<std::size_t>(n) : 1;
    if (!each(at, count, n > 0 ? c : -1)) return;
    at += count;
  }
}

}  // namespace

std::optional<std::string> character_fault(const std::string& text, Lines lines) {
  std::optional<std::string> fault;
  for_each_character(text, [&](std::size_t, std::size_t, utf8proc_int32_t c) {
    if (c < 0) {
      fault = "is not UTF-8 text";
    } else if (is_unsafe(c, lines)) {
      fault = fmt::format("holds the invisible or control character U+{:04X}", static_cast<unsigned>(c));
    }
    return !fault;
  });
  return fault;
}

std::string checked_name(const std::string& text, const std::string& what, std::size_t max_bytes) {
  if (const auto fault = character_fault(text)) throw InputError(what, *fault);
  utf8proc_uint8_t* composed = utf8proc_NFC(reinterpret_cast<const utf8proc_uint8_t*>(text.c_str()));
  if (composed == nullptr) throw InputError(what, "is not UTF-8 text");
  const std::string name = reinterpret_cast<const char*>(composed);
  std::free(composed);
  if (name.find_first_not_of(' ') == std::string::npos) throw InputError(what, "must not be empty");
  if (name.size() > max_bytes) {
    throw InputError(what, "is longer than " + std::to_string(max_bytes) + " bytes");
  }
  return name.substr(name.find_first_not_of(' '),
                     name.find_last_not_of(' ') - name.find_first_not_of(' ') + 1);
}

std::string escaped(const std::string& text, Lines lines) {
  static const char* hex = "0123456789abcdef";
  std::string out;
  for_each_character(text, [&](std::size_t at, std::size_t count, utf8proc_int32_t c) {
    if (c >= 0 && !is_unsafe(c, lines)) {
      out.append(text, at, count);
      return true;
    }
    for (std::size_t i = at; i < at + count; ++i) {
      const auto byte = static_cast<unsigned char>(text[i]);
      out += "\\x";
      out += hex[byte >> 4];
      out += hex[byte & 15];
    }
    return true;
  });
  return out;
}

std::string lower_ascii(std::string text) {
  for (char& c : text) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return text;
}

}  // namespace interstice::core
