#include "bench/message.h"

#include <unistd.h>

#include <algorithm>
#include <cctype>

namespace interstice::bench {
namespace {

constexpr std::size_t kMostFields = 64;

std::string trimmed(const std::string& text) {
  const std::size_t from = text.find_first_not_of(" \t");
  if (from == std::string::npos) return "";
  return text.substr(from, text.find_last_not_of(" \t") - from + 1);
}

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

std::string field_decoded(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '+') {
      out += ' ';
    } else if (text[i] == '%' && i + 2 < text.size() && hex_digit(text[i + 1]) >= 0 &&
               hex_digit(text[i + 2]) >= 0) {
      out += static_cast<char>(hex_digit(text[i + 1]) * 16 + hex_digit(text[i + 2]));
      i += 2;
    } else {
      out += text[i];
    }
  }
  return out;
}

template <class Map>
std::string found(const Map& map, const std::string& name) {
  const auto it = map.find(name);
  return it == map.end() ? std::string() : it->second;
}

}  // namespace

OpenFile::~OpenFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::string Request::header(const std::string& name) const {
  return found(headers, name);
}
std::string Request::asked(const std::string& name) const {
  return found(query, name);
}

std::string Request::cookie(const std::string& name) const {
  const std::string all = header("cookie");
  for (std::size_t at = 0; at < all.size();) {
    const std::size_t end = std::min(all.find(';', at), all.size());
    const std::string one = trimmed(all.substr(at, end - at));
    if (one.size() > name.size() && one.compare(0, name.size(), name) == 0 && one[name.size()] == '=')
      return one.substr(name.size() + 1);
    at = end + 1;
  }
  return "";
}

Response plain(int status, const std::string& line) {
  Response response;
  response.status = status;
  response.type = "text/plain; charset=utf-8";
  response.body = line + "\n";
  return response;
}

Response json_answer(const std::string& document, int status) {
  Response response;
  response.status = status;
  response.type = "application/json";
  response.body = document;
  return response;
}

Response see_other(const std::string& place) {
  Response response = plain(303, place);
  response.headers.emplace_back("Location", place);
  return response;
}

std::map<std::string, std::string> form_fields(const std::string& body) {
  std::map<std::string, std::string> fields;
  for (std::size_t at = 0; at < body.size() && fields.size() < kMostFields;) {
    const std::size_t end = std::min(body.find('&', at), body.size());
    const std::string one = body.substr(at, end - at);
    const std::size_t equals = one.find('=');
    const std::string name = field_decoded(one.substr(0, equals));
    fields[name] = equals == std::string::npos ? "" : field_decoded(one.substr(equals + 1));
    at = end + 1;
  }
  return fields;
}

std::string percent_encoded(const std::string& text) {
  constexpr const char* kDigits = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (std::isalnum(byte) || c == '-' || c == '_' || c == '.') {
      out += c;
    } else {
      out += {'%', kDigits[byte >> 4], kDigits[byte & 15]};
    }
  }
  return out;
}

std::optional<std::vector<std::string>> path_parts(const std::string& path) {
  std::vector<std::string> parts;
  if (path.empty() || path[0] != '/') return std::nullopt;
  for (std::size_t at = 1; at < path.size();) {
    const std::size_t end = std::min(path.find('/', at), path.size());
    const std::string part = path.substr(at, end - at);
    const bool odd = part.find('\0') != std::string::npos || part.find('\\') != std::string::npos;
    if (part.empty() || part == "." || part == ".." || odd) return std::nullopt;
    parts.push_back(part);
    at = end + 1;
  }
  return parts;
}

}  // namespace interstice::bench
