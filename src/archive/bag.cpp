#include "archive/bag.h"

#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cerrno>
#include <charconv>

#include "archive/names.h"
#include "core/errors.h"
#include "core/name_check.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::size_t kLineBytes = 79;  // RFC 8493, 2.2.2: lines should not be longer

bool same_label(const std::string& a, const std::string& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

// Lines ended by LF, CR or CRLF; the last one may lack its end. A scan keeps some hundred files.
std::vector<std::string> lines_of(const std::string& text, const std::string& file) {
  constexpr std::size_t kMaxLines = 100000;
  std::vector<std::string> lines;
  std::string line;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\n' && text[i] != '\r') {
      line += text[i];
      continue;
    }
    if (text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n') ++i;
    if (lines.size() == kMaxLines)
      throw core::InputError(file, "has more than " + std::to_string(kMaxLines) + " lines");
    lines.push_back(std::move(line));
    line.clear();
  }
  if (!line.empty()) lines.push_back(std::move(line));
  return lines;
}

std::string trimmed(const std::string& s) {
  const std::size_t from = s.find_first_not_of(" \t");
  if (from == std::string::npos) return "";
  return s.substr(from, s.find_last_not_of(" \t") - from + 1);
}

// Breaks "Label: value" at single spaces of the value; a continued line starts with a space, and unfolding
// turns line end and space back into one space.
std::string folded(const std::string& line, std::size_t value_from) {
  std::string out, current;
  std::size_t cut = 0;  // 0: nowhere to cut yet
  for (std::size_t i = 0; i < line.size(); ++i) {
    current += line[i];
    const bool single =
        line[i] == ' ' && i > value_from && i + 1 < line.size() && line[i - 1] != ' ' && line[i + 1] != ' ';
    if (single) cut = current.size() - 1;
    if (current.size() <= kLineBytes || cut == 0) continue;
    out += current.substr(0, cut) + "\n";
    current = " " + current.substr(cut + 1);
    cut = 0;
  }
  return out + current;
}

std::string percent_encoded(const std::string& path) {
  std::string out;
  for (const char c : path) {
    if (c == '%') {
      out += "%25";
    } else if (c == '\n') {
      out += "%0A";
    } else if (c == '\r') {
      out += "%0D";
    } else {
      out += c;
    }
  }
  return out;
}

std::string percent_decoded(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const std::string code = text.substr(i, 3);
    const bool known = code == "%25" || code == "%0A" || code == "%0a" || code == "%0D" || code == "%0d";
    out += !known ? text[i] : code == "%25" ? '%' : std::toupper(code[2]) == 'A' ? '\n' : '\r';
    if (known) i += 2;
  }
  return out;
}

bool is_digest(const std::string& text, std::size_t digits) {
  return text.size() == digits &&
         std::all_of(text.begin(), text.end(), [](unsigned char c) { return std::isxdigit(c) != 0; });
}

}  // namespace

std::optional<std::string> BagInfo::first(const std::string& label) const {
  for (const auto& [l, value] : fields_) {
    if (same_label(l, label)) return value;
  }
  return std::nullopt;
}

std::string write_bag_info(const BagInfo& info) {
  std::string out;
  for (const auto& [label, value] : info.fields()) {
    out += folded(label + ": " + trimmed(value), label.size() + 2) + "\n";
  }
  return out;
}

BagInfo parse_bag_info(const std::string& text, const std::string& file) {
  std::vector<std::pair<std::string, std::string>> fields;
  const std::vector<std::string> lines = lines_of(text, file);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::string& line = lines[i];
    if (trimmed(line).empty()) continue;
    if (line[0] == ' ' || line[0] == '\t') {
      if (fields.empty()) throw core::InputError(file, "line 1 continues nothing");
      fields.back().second += (fields.back().second.empty() ? "" : " ") + trimmed(line);
      continue;
    }
    const std::size_t colon = line.find(':');
    if (colon == std::string::npos || colon == 0) {
      throw core::InputError(file, "line " + std::to_string(i + 1) + " is not \"Label: value\"");
    }
    fields.emplace_back(trimmed(line.substr(0, colon)), trimmed(line.substr(colon + 1)));
  }
  BagInfo info;
  for (const auto& [label, value] : fields) info.add(label, value);
  return info;
}

std::string write_manifest(const Manifest& manifest) {
  std::string out;
  for (const auto& [path, digest] : manifest) out += digest + "  " + percent_encoded(path) + "\n";
  return out;
}

Manifest parse_manifest(const std::string& text, std::size_t digest_digits, const std::string& file) {
  Manifest manifest;
  const std::vector<std::string> lines = lines_of(text, file);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const auto fail = [&](const std::string& what) {
      throw core::InputError(file, "line " + std::to_string(i + 1) + ": " + what);
    };
    if (lines[i].empty()) continue;
    const std::size_t space = lines[i].find_first_of(" \t");
    if (space == std::string::npos) fail("needs a digest and a path");
    const std::string digest = lines[i].substr(0, space);
    if (!is_digest(digest, digest_digits)) fail("does not start with a digest");
    const std::size_t from = lines[i].find_first_not_of(" \t", space);
    if (from == std::string::npos) fail("needs a path after the digest");
    const std::string path = percent_decoded(lines[i].substr(from));
    if (const auto fault = path_fault(path)) fail("the path \"" + core::one_line(path, 80) + "\" " + *fault);
    if (!manifest.emplace(path, core::lower_ascii(digest)).second)
      fail("\"" + core::one_line(path, 80) + "\" is listed twice");
  }
  return manifest;
}

std::optional<PayloadOxum> parse_oxum(const std::string& text) {
  PayloadOxum oxum;
  const char* end = text.data() + text.size();
  const auto bytes = std::from_chars(text.data(), end, oxum.bytes);
  if (bytes.ec != std::errc() || bytes.ptr == end || *bytes.ptr != '.') return std::nullopt;
  const auto files = std::from_chars(bytes.ptr + 1, end, oxum.files);
  if (files.ec != std::errc() || files.ptr != end) return std::nullopt;
  return oxum;
}

BagWriter::BagWriter(fs::path folder) : folder_(std::move(folder)) {
  make_folder(folder_);
  make_folder(folder_ / "data");
}

fs::path BagWriter::place(const std::string& path) {
  if (const auto fault = path_fault(path)) throw core::InputError(core::one_line(path, 120), *fault);
  const auto [taken, fresh] = taken_.emplace(search_key(path), path);
  if (!fresh) {
    throw core::InputError(core::one_line(path, 120), "would stand in the bag twice, or differs from " +
                                                          core::one_line(taken->second, 120) +
                                                          " only in case or spelling; rename one of them");
  }
  fs::path folder = folder_ / "data";
  const fs::path relative = fs::path(path).parent_path();
  for (const fs::path& part : relative) make_folder(folder /= part);
  return payload(path);
}

FileFacts BagWriter::add_copy(const fs::path& from, const std::string& path) {
  return payload_[path] = copy_file_durably(from, place(path));
}

FileFacts BagWriter::add_bytes(std::string_view bytes, const std::string& path) {
  return payload_[path] = write_new_file_durably(place(path), bytes);
}

FileFacts BagWriter::add_shared(const fs::path& from, const std::string& path) {
  const fs::path to = place(path);
  if (::link(from.c_str(), to.c_str()) != 0) {
    // Other disk, too many links, or no links at all there: an own copy is as good.
    return payload_[path] = copy_file_durably(from, to);
  }
  return payload_[path] = facts_of_file(to);
}

void BagWriter::close(BagInfo info) {
  PayloadOxum oxum;
  Manifest sha256, sha512;
  for (const auto& [path, facts] : payload_) {
    oxum.bytes += facts.bytes;
    ++oxum.files;
    sha256["data/" + path] = facts.digests.sha256;
    sha512["data/" + path] = facts.digests.sha512;
  }
  info.add("Payload-Oxum", std::to_string(oxum.bytes) + "." + std::to_string(oxum.files));
  Manifest tags256, tags512;
  const auto write_tag = [&](const std::string& name, const std::string& text) {
    const FileFacts facts = write_new_file_durably(folder_ / name, text);
    tags256[name] = facts.digests.sha256;
    tags512[name] = facts.digests.sha512;
  };
  write_tag("bagit.txt", kBagDeclaration);
  write_tag("bag-info.txt", write_bag_info(info));
  write_tag("manifest-sha256.txt", write_manifest(sha256));
  write_tag("manifest-sha512.txt", write_manifest(sha512));
  write_new_file_durably(folder_ / "tagmanifest-sha256.txt", write_manifest(tags256));
  write_new_file_durably(folder_ / "tagmanifest-sha512.txt", write_manifest(tags512));
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(folder_, ec)) {
    if (entry.is_directory()) sync_folder(entry.path());
  }
  if (ec) throw core::InputError(folder_.string(), "cannot be read: " + ec.message());
  sync_folder(folder_);
}

}  // namespace interstice::archive
