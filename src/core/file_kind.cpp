#include "core/file_kind.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>

#include "core/sha256.h"

namespace interstice::core {
namespace {

constexpr std::size_t kHex = 64;

// Where a seal stands: opening text, 64 digits, closing text; at the end, or in front of the rest.
struct Seal {
  std::string opening, closing;
  std::size_t size() const { return opening.size() + kHex + closing.size(); }
  std::string over(std::string_view bytes) const { return opening + sha256_of(bytes) + closing; }
};

const Seal kPdfSeal{"%interstice ", "\n"};
const Seal kMarkupSeal{"<!-- interstice ", " -->\n"};
const Seal kJsonSeal{",\n \"interstice\": \"", "\"\n}\n"};
const Seal kDxfSeal{"999\ninterstice ", "\n"};
const Seal kPngSeal{std::string("Comment\0interstice ", 19), ""};

constexpr std::string_view kPngEnd("\0\0\0\0IEND\xae\x42\x60\x82", 12);

std::string big_endian(std::uint32_t x) {
  std::string out;
  for (int shift = 24; shift >= 0; shift -= 8) out += static_cast<char>(x >> shift & 0xff);
  return out;
}

// CRC of a PNG chunk (ISO/IEC 15948, annex D).
std::uint32_t crc_of(std::string_view bytes) {
  std::uint32_t crc = 0xffffffff;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int bit = 0; bit < 8; ++bit) crc = crc & 1 ? 0xedb88320 ^ (crc >> 1) : crc >> 1;
  }
  return ~crc;
}

// A text chunk with the digest of the picture without it.
std::string png_chunk(std::string_view picture) {
  const std::string text = "tEXt" + kPngSeal.over(picture);
  return big_endian(static_cast<std::uint32_t>(text.size() - 4)) + text + big_endian(crc_of(text));
}

bool ends_with_seal(std::string_view content, const Seal& seal, std::string_view rest_ends = "") {
  if (content.size() < seal.size()) return false;
  const std::string_view rest = content.substr(0, content.size() - seal.size());
  return content.substr(rest.size()) == seal.over(std::string(rest) + std::string(rest_ends));
}

bool is_sealed_png(std::string_view content) {
  const std::size_t chunk = 12 + kPngSeal.size();
  if (content.size() < chunk + kPngEnd.size() || !content.ends_with(kPngEnd)) return false;
  std::string picture(content.substr(0, content.size() - kPngEnd.size() - chunk));
  picture += kPngEnd;
  return content.substr(content.size() - kPngEnd.size() - chunk, chunk) == png_chunk(picture);
}

// The "format" of a JSON document; empty for everything else.
std::string format_of(std::string_view content) {
  const std::size_t first = content.find_first_not_of(" \r\n\t");
  if (first == std::string_view::npos || content[first] != '{') return "";
  const auto document = nlohmann::json::parse(content.begin(), content.end(), nullptr, false);
  if (!document.is_object()) return "";
  const auto found = document.find("format");
  return found != document.end() && found->is_string() ? found->get<std::string>() : "";
}

}  // namespace

std::string FileKind::sealed(std::string_view bytes) const {
  const std::string plain(bytes);
  switch (form_) {
    case Form::pdf:
      return plain + kPdfSeal.over(bytes);
    case Form::markup:
      return plain + kMarkupSeal.over(bytes);
    case Form::sealed_json:
      if (!bytes.ends_with("\n}\n")) return plain;
      return plain.substr(0, plain.size() - 3) + kJsonSeal.over(bytes);
    case Form::dxf:
      return kDxfSeal.over(bytes) + plain;
    case Form::png:
      if (!bytes.ends_with(kPngEnd)) return plain;
      return plain.substr(0, plain.size() - kPngEnd.size()) + png_chunk(bytes) + std::string(kPngEnd);
    case Form::any:
    case Form::json:
      break;
  }
  return plain;
}

bool FileKind::may_replace(std::string_view content) const {
  if (content.empty()) return true;
  switch (form_) {
    case Form::any:
      return true;
    case Form::json:
      return format_of(content) == mark_;
    case Form::sealed_json:
      return ends_with_seal(content, kJsonSeal, "\n}\n");
    case Form::pdf:
      return content.starts_with("%PDF-") && ends_with_seal(content, kPdfSeal);
    case Form::markup:
      return content.find(mark_) != std::string_view::npos && ends_with_seal(content, kMarkupSeal);
    case Form::png:
      return is_sealed_png(content);
    case Form::dxf:
      return content.size() > kDxfSeal.size() &&
             content.substr(0, kDxfSeal.size()) == kDxfSeal.over(content.substr(kDxfSeal.size()));
  }
  return false;
}

bool is_ours(std::string_view content) {
  for (const FileKind& kind : {FileKind::plan(), FileKind::pdf(), FileKind::svg(), FileKind::page(),
                               FileKind::png(), FileKind::dxf()}) {
    if (!content.empty() && kind.may_replace(content)) return true;
  }
  return format_of(content).starts_with("interstice-");
}

std::string what_it_is(std::string_view content) {
  struct Magic {
    std::size_t at;
    std::string_view bytes;
    const char* words;
  };
  static constexpr std::array<Magic, 9> kMagic{{
      {0, "\xff\xd8\xff", "a JPEG picture"},
      {0, "\x89PNG\r\n", "a PNG picture"},
      {0, "%PDF-", "a PDF"},
      {0, std::string_view("II*\0", 4), "a TIFF picture"},
      {0, std::string_view("MM\0*", 4), "a TIFF picture"},
      {8, "WEBP", "a WebP picture"},
      {4, "ftyp", "a picture or film"},
      {0, std::string_view("SQLite format 3\0", 16), "a database"},
      {0, "PK\x03\x04", "an archive or document"},
  }};
  for (const Magic& m : kMagic) {
    if (content.size() > m.at && content.substr(m.at).starts_with(m.bytes)) return m.words;
  }
  const std::string_view start = content.substr(0, 4096);
  const auto text = [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte >= 0x20 || byte == '\n' || byte == '\r' || byte == '\t';
  };
  if (!std::all_of(start.begin(), start.end(), text)) return "a file of another kind";
  if (start.find("<svg") != std::string_view::npos) return "an SVG drawing";
  if (start.find("<html") != std::string_view::npos) return "an HTML page";
  const std::size_t first = start.find_first_not_of(" \r\n\t");
  return first != std::string_view::npos && start[first] == '{' ? "a JSON document" : "a text";
}

}  // namespace interstice::core
