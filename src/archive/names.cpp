#include "archive/names.h"

#include <utf8proc.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <map>

#include "core/errors.h"

namespace interstice::archive {
namespace {

constexpr std::size_t kMaxPartBytes = 240;  // common file systems stop at 255
constexpr std::size_t kMaxPathBytes = 1000;

// Empty when the text is not UTF-8.
std::optional<std::string> mapped(const std::string& text, int options) {
  utf8proc_uint8_t* out = nullptr;
  const auto* in = reinterpret_cast<const utf8proc_uint8_t*>(text.data());
  const utf8proc_ssize_t n = utf8proc_map(in, static_cast<utf8proc_ssize_t>(text.size()), &out,
                                          static_cast<utf8proc_option_t>(options));
  if (n < 0) return std::nullopt;
  std::string result(reinterpret_cast<const char*>(out), static_cast<std::size_t>(n));
  std::free(out);
  return result;
}

std::vector<std::string> parts_of(const std::string& path) {
  std::vector<std::string> parts(1);
  for (const char c : path) {
    if (c == '/') {
      parts.emplace_back();
    } else {
      parts.back() += c;
    }
  }
  return parts;
}

}  // namespace

std::string search_key(const std::string& text) {
  return mapped(text, UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_COMPAT | UTF8PROC_CASEFOLD)
      .value_or(text);
}

std::string slug(const std::string& text) {
  // Decomposed and stripped of accents first, so that "Éclat" becomes "eclat".
  const std::string plain = mapped(text, UTF8PROC_STABLE | UTF8PROC_DECOMPOSE | UTF8PROC_COMPAT |
                                             UTF8PROC_CASEFOLD | UTF8PROC_STRIPMARK)
                                .value_or("");
  std::string out;
  for (const char c : plain) {
    const bool keep = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    if (keep) out += c;
    if (!keep && !out.empty() && out.back() != '-') out += '-';
  }
  out.resize(std::min<std::size_t>(out.size(), 40));
  while (!out.empty() && out.back() == '-') out.pop_back();
  return out.empty() ? "piece" : out;
}

std::size_t display_width(const std::string& text) {
  std::size_t width = 0;
  const auto* at = reinterpret_cast<const utf8proc_uint8_t*>(text.data());
  auto left = static_cast<utf8proc_ssize_t>(text.size());
  while (left > 0) {
    utf8proc_int32_t c = 0;
    const utf8proc_ssize_t n = utf8proc_iterate(at, left, &c);
    if (n <= 0) return text.size();
    width += static_cast<std::size_t>(std::max(0, utf8proc_charwidth(c)));
    at += n;
    left -= n;
  }
  return width;
}

std::optional<std::string> path_fault(const std::string& path) {
  if (path.empty()) return "is empty";
  if (path.size() > kMaxPathBytes) return "is longer than " + std::to_string(kMaxPathBytes) + " bytes";
  if (const auto fault = core::character_fault(path)) return fault;
  if (path.front() == '/' || path.front() == '~') return "leads out of the bag";
  if (path.find('\\') != std::string::npos) return "holds a backslash, which other systems take for a folder";
  if (path.size() > 1 && path[1] == ':') return "starts like the name of a drive";
  for (const std::string& part : parts_of(path)) {
    if (part.empty() || part == ".") return "has an empty part";
    if (part == "..") return "leads out of the bag";
    if (part.size() > kMaxPartBytes)
      return "has a part longer than " + std::to_string(kMaxPartBytes) + " bytes";
    if (part.back() == ' ' || part.back() == '.' || part.front() == ' ') {
      return "has a part that starts or ends with a space or ends with a full stop";
    }
  }
  return std::nullopt;
}

std::optional<std::pair<std::string, std::string>> colliding_paths(const std::vector<std::string>& paths) {
  std::map<std::string, std::string> seen;
  for (const std::string& path : paths) {
    const auto [it, fresh] = seen.emplace(search_key(path), path);
    if (!fresh) return std::pair(it->second, path);
  }
  return std::nullopt;
}

std::string checked_date(const std::string& text, const std::string& what) {
  int year = 0, used = 0;
  unsigned month = 0, day = 0;
  const bool read = text.size() == 10 && text[4] == '-' && text[7] == '-' &&
                    std::sscanf(text.c_str(), "%4d-%2u-%2u%n", &year, &month, &day, &used) == 3 && used == 10;
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  if (!read || !date.ok() || year < 1900) {
    throw core::InputError(what,
                           "\"" + core::one_line(text, 40) + "\" is not a date; write it as 2026-03-14");
  }
  return text;
}

}  // namespace interstice::archive
