#include "report/markup.h"

#include <fmt/core.h>

#include <cctype>
#include <cmath>
#include <cstdint>

namespace interstice::report {
namespace {

constexpr const char* kReplacement = "\xEF\xBF\xBD";

// Length of the UTF-8 sequence at `i`, 0 if there is none (RFC 3629: no overlong forms, no surrogates).
std::size_t sequence(std::string_view s, std::size_t i) {
  const auto byte = [&](std::size_t k) { return k < s.size() ? static_cast<unsigned char>(s[k]) : 0u; };
  const auto tail = [&](std::size_t k) { return (byte(k) & 0xC0u) == 0x80u; };
  const unsigned a = byte(i), b = byte(i + 1);
  if (a < 0x80) return 1;
  if (a >= 0xC2 && a <= 0xDF) return tail(i + 1) ? 2 : 0;
  if (a >= 0xE0 && a <= 0xEF) {
    if (!tail(i + 1) || !tail(i + 2) || (a == 0xE0 && b < 0xA0) || (a == 0xED && b > 0x9F)) return 0;
    return 3;
  }
  if (a >= 0xF0 && a <= 0xF4) {
    if (!tail(i + 1) || !tail(i + 2) || !tail(i + 3)) return 0;
    return (a == 0xF0 && b < 0x90) || (a == 0xF4 && b > 0x8F) ? 0 : 4;
  }
  return 0;
}

void add_escaped(std::string& out, std::string_view s, std::size_t i, std::size_t count) {
  const auto c = static_cast<unsigned char>(s[i]);
  if (count != 1) {
    out.append(s.substr(i, count));
    return;
  }
  switch (c) {
    case '&':
      out += "&amp;";
      return;
    case '<':
      out += "&lt;";
      return;
    case '>':
      out += "&gt;";
      return;
    case '"':
      out += "&quot;";
      return;
    case '\'':
      out += "&#39;";
      return;
    default:
      break;
  }
  if (c == '\n' || c == '\t')
    out += ' ';
  else if (c < 0x20 || c == 0x7F)
    out += kReplacement;
  else
    out += static_cast<char>(c);
}

std::string quantity(const char* element, const char* kind, double value, int decimals, const char* unit) {
  return fmt::format("<{} class=\"q\" data-{}=\"{:.5g}\" data-d=\"{}\">{:.{}f}{}{}</{}>", element, kind,
                     value, decimals, value, decimals, *unit ? "\xC2\xA0" : "", unit, element);
}

// Length of a number such as "12" or "3.5" at `i`, 0 if none starts there.
std::size_t number_at(const std::string& s, std::size_t i) {
  const auto digit = [&](std::size_t k) {
    return k < s.size() && std::isdigit(static_cast<unsigned char>(s[k]));
  };
  if (!digit(i) || (i > 0 && (std::isalnum(static_cast<unsigned char>(s[i - 1])) || s[i - 1] == '.')))
    return 0;
  std::size_t k = i;
  while (digit(k)) ++k;
  if (k < s.size() && s[k] == '.' && digit(k + 1)) {
    ++k;
    while (digit(k)) ++k;
  }
  return k - i;
}

bool word_at(const std::string& s, std::size_t i, const char* word) {
  const std::string w(word);
  return s.compare(i, w.size(), w) == 0 &&
         (i + w.size() >= s.size() || !std::isalnum(static_cast<unsigned char>(s[i + w.size()])));
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  out.reserve(text.size() + 16);
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t count = sequence(text, i);
    if (count == 0)
      out += kReplacement;
    else
      add_escaped(out, text, i, count);
    i += std::max<std::size_t>(1, count);
  }
  return out;
}

std::string shortened(const std::string& text, std::size_t characters) {
  std::size_t i = 0;
  for (std::size_t n = 0; i < text.size(); ++n) {
    if (n == characters) return text.substr(0, i) + "\xE2\x80\xA6";
    i += std::max<std::size_t>(1, sequence(text, i));
  }
  return text;
}

std::string named(const std::string& label) {
  return "<bdi>" + escaped(label) + "</bdi>";
}

std::string seam_named(const std::array<std::string, 2>& tiles) {
  return named(tiles[0]) + "\xC2\xA0\xE2\x80\x93 " + named(tiles[1]);
}

std::string seam_spoken(const std::array<std::string, 2>& tiles) {
  return escaped(shortened(tiles[0], 40)) + " to " + escaped(shortened(tiles[1], 40));
}

std::string in_drawing(const std::string& label) {
  return escaped(shortened(label, 9));
}

std::string fixed(double x, int decimals) {
  const std::string text = fmt::format("{:.{}f}", x, decimals);
  return text == "-0" ? "0" : text;
}

std::string length_html(double mm, int decimals) {
  return quantity("span", "mm", mm, decimals, "mm");
}
std::string volume_html(double ml, int decimals) {
  return quantity("span", "ml", ml, decimals, "ml");
}
std::string mass_html(double g) {
  return quantity("span", "g", g, 0, "g");
}
std::string length_in_drawing(double mm, int decimals) {
  return quantity("tspan", "mm", mm, decimals, "");
}

std::string with_uncertainty_html(double mm, double u95_mm) {
  return "<span class=\"nowrap\">" + quantity("span", "mm", mm, 2, "") + "\xC2\xA0\xC2\xB1\xC2\xA0" +
         quantity("span", "mm", u95_mm, 2, "mm") + "</span>";
}

std::string prose(const std::string& text) {
  std::string out, plain;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t digits = number_at(text, i);
    const std::size_t unit = i + digits + 1;
    const bool mm = digits && text[i + digits] == ' ' && word_at(text, unit, "mm");
    const bool ml = digits && !mm && text[i + digits] == ' ' && word_at(text, unit, "ml");
    if (!mm && !ml) {
      plain.append(text, i, std::max<std::size_t>(1, digits));
      i += std::max<std::size_t>(1, digits);
      continue;
    }
    const std::string number = text.substr(i, digits);
    const std::size_t point = number.find('.');
    const int decimals = point == std::string::npos ? 0 : static_cast<int>(number.size() - point - 1);
    out += escaped(plain);
    plain.clear();
    out += mm ? length_html(std::stod(number), decimals) : volume_html(std::stod(number), decimals);
    i = unit + 2;
  }
  return out + escaped(plain);
}

std::string base64(std::string_view bytes) {
  static constexpr char kDigits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    std::uint32_t v = 0;
    for (std::size_t k = 0; k < 3; ++k) {
      v = v << 8 | (i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0u);
    }
    for (std::size_t k = 0; k < 4; ++k) {
      out += k > bytes.size() - i ? '=' : kDigits[v >> (18 - 6 * k) & 63u];
    }
  }
  return out;
}

std::string jpeg_uri(std::string_view jpeg) {
  return "data:image/jpeg;base64," + base64(jpeg);
}

std::string script_json(const nlohmann::ordered_json& document) {
  const std::string text = document.dump(-1, ' ', true, nlohmann::ordered_json::error_handler_t::replace);
  std::string out;
  out.reserve(text.size());
  for (const char c : text) {
    if (c == '<')
      out += "\\u003c";
    else if (c == '>')
      out += "\\u003e";
    else if (c == '&')
      out += "\\u0026";
    else
      out += c;
  }
  return out;
}

}  // namespace interstice::report
