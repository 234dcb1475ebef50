// HEIC (ISO/IEC 23008-12 in the boxes of ISO/IEC 14496-12): the main picture, with its tiles, goes into a new
// file. Its HEVC data stay as they are, less the messages (SEI) that decoding does not need.
#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <vector>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

constexpr std::size_t kMaxItems = 20000;  // a grid of 256 x 64 tiles and what goes with it

struct Box {
  std::string type;
  std::string_view content;
};

// `stop_at_other`: what follows the boxes need not be one (some phones put a film behind them).
std::vector<Box> boxes_in(std::string_view bytes, bool stop_at_other = false) {
  std::vector<Box> out;
  for (std::size_t at = 0; at < bytes.size();) {
    if (stop_at_other && bytes.size() - at < 16) break;
    std::uint64_t size = big_endian(bytes, at, 4), header = 8;
    if (size == 1) size = big_endian(bytes, at + 8, 8), header = 16;
    if (size == 0) size = bytes.size() - at;  // to the end
    if (stop_at_other && (size < header || size > bytes.size() - at)) break;
    if (size < header) throw Damaged();
    const std::string_view whole = slice(bytes, at, size);
    out.push_back({std::string(whole.substr(4, 4)), whole.substr(header)});
    if (out.size() > 4 * kMaxItems) throw Damaged();
    at += size;
  }
  return out;
}

std::string_view child(const std::vector<Box>& boxes, const std::string& type) {
  for (const Box& box : boxes) {
    if (box.type == type) return box.content;
  }
  throw Damaged();
}

std::string box(const std::string& type, const std::string& content) {
  return as_big_endian(content.size() + 8, 4) + type + content;
}
std::string full_box(const std::string& type, unsigned version_and_flags, const std::string& content) {
  return box(type, as_big_endian(version_and_flags, 4) + content);
}

// Numbers one after another.
class Reader {
 public:
  explicit Reader(std::string_view bytes, std::size_t at = 0) : bytes_(bytes), at_(at) {}
  std::uint64_t take(std::size_t length) {
    const std::uint64_t number = big_endian(bytes_, at_, length);
    at_ += length;
    return number;
  }
  std::string text(std::size_t length) {
    const std::string out(slice(bytes_, at_, length));
    at_ += length;
    return out;
  }

 private:
  std::string_view bytes_;
  std::size_t at_;
};

struct Item {
  std::string type, data;
  std::vector<std::uint64_t> made_from;                    // tiles, or the picture it turns
  std::vector<std::pair<std::uint64_t, bool>> properties;  // number from 1, and whether it must be understood
};

struct Heif {
  std::uint64_t primary = 0;
  std::map<std::uint64_t, Item> items;
  std::vector<Box> properties;
};

void read_item_types(std::string_view iinf, Heif& heif) {
  const unsigned version = static_cast<unsigned>(big_endian(iinf, 0, 1));
  for (const Box& entry : boxes_in(iinf.substr(std::min<std::size_t>(iinf.size(), version == 0 ? 6 : 8)))) {
    const std::uint64_t v = big_endian(entry.content, 0, 1);
    if (entry.type != "infe" || v < 2) continue;
    Reader in(entry.content, 4);
    const std::uint64_t id = in.take(v == 2 ? 2 : 4);
    in.take(2);
    heif.items[id].type = in.text(4);
  }
}

void read_references(const std::vector<Box>& meta, Heif& heif) {
  for (const Box& iref : meta) {
    if (iref.type != "iref") continue;
    const std::size_t id_bytes = big_endian(iref.content, 0, 1) == 0 ? 2 : 4;
    for (const Box& reference : boxes_in(slice(iref.content, 4, iref.content.size() - 4))) {
      if (reference.type != "dimg") continue;
      Reader in(reference.content);
      Item& item = heif.items[in.take(id_bytes)];
      for (std::uint64_t left = in.take(2); left > 0; --left) item.made_from.push_back(in.take(id_bytes));
    }
  }
}

void read_properties(const std::vector<Box>& iprp, Heif& heif) {
  heif.properties = boxes_in(child(iprp, "ipco"));
  for (const Box& ipma : iprp) {
    if (ipma.type != "ipma") continue;
    Reader in(ipma.content);
    const std::uint64_t version = in.take(1), flags = in.take(3);
    for (std::uint64_t left = in.take(4); left > 0; --left) {
      Item& item = heif.items[in.take(version == 0 ? 2 : 4)];
      if (heif.items.size() > kMaxItems) throw Damaged();
      for (std::uint64_t k = in.take(1); k > 0; --k) {
        const std::uint64_t wide = flags & 1, number = in.take(wide ? 2 : 1), top = wide ? 0x8000 : 0x80;
        item.properties.emplace_back(number & (top - 1), (number & top) != 0);
      }
    }
  }
}

// Where the wanted items' data lie. `idat` may be empty.
void read_data(std::string_view iloc, std::string_view file, std::string_view idat,
               const std::set<std::uint64_t>& wanted, Heif& heif) {
  Reader in(iloc);
  const std::uint64_t version = in.take(1);
  in.take(3);
  const std::uint64_t sizes = in.take(1), more = in.take(1);
  const std::size_t offset_bytes = sizes >> 4, length_bytes = sizes & 15, base_bytes = more >> 4,
                    index_bytes = version == 0 ? 0 : more & 15;
  if (version > 2 || offset_bytes > 8 || length_bytes > 8 || base_bytes > 8 || index_bytes > 8)
    throw Damaged();
  for (std::uint64_t left = in.take(version < 2 ? 2 : 4); left > 0; --left) {
    const std::uint64_t id = in.take(version < 2 ? 2 : 4);
    const std::uint64_t method = version == 0 ? 0 : in.take(2) & 15;
    const std::uint64_t elsewhere = in.take(2), base = in.take(base_bytes);
    for (std::uint64_t extents = in.take(2); extents > 0; --extents) {
      in.take(index_bytes);
      const std::uint64_t offset = in.take(offset_bytes), length = in.take(length_bytes);
      if (!wanted.contains(id)) continue;
      if (method > 1 || elsewhere != 0) throw Damaged();
      const std::string_view from = method == 0 ? file : idat;
      if (base > from.size() || offset > from.size()) throw Damaged();
      std::string& data = heif.items[id].data;
      const std::size_t at = base + offset;
      data += slice(from, at, length == 0 && at <= from.size() ? from.size() - at : length);
      if (data.size() > file.size()) throw Damaged();  // the same bytes many times over
    }
  }
}

// The main picture and what it is put together from, in the order in which they are found.
std::vector<std::uint64_t> needed_items(const Heif& heif, const std::string& file) {
  std::vector<std::uint64_t> order{heif.primary};
  for (std::size_t k = 0; k < order.size(); ++k) {
    const auto it = heif.items.find(order[k]);
    if (it == heif.items.end()) throw Damaged();
    const std::string& type = it->second.type;
    if (type != "hvc1" && type != "grid" && type != "iden") {
      throw core::InputError(
          file, "holds its picture as \"" + core::one_line(type, 16) + "\", not as HEIC; save it as JPEG");
    }
    if (type == "hvc1") continue;
    for (const std::uint64_t part : it->second.made_from) {
      if (std::find(order.begin(), order.end(), part) == order.end()) order.push_back(part);
      if (order.size() > kMaxItems) throw Damaged();
    }
  }
  return order;
}

constexpr unsigned kFirstMessage =
    39;  // NAL unit types from here on: SEI, reserved, unspecified (H.265, 7.4.2.2)

bool is_message(std::string_view unit) {
  return ((big_endian(unit, 0, 1) >> 1) & 0x3f) >= kFirstMessage;
}

std::string without_messages(const std::string& data, std::size_t length_bytes) {
  std::string out;
  for (std::size_t at = 0; at < data.size();) {
    const std::size_t length = big_endian(data, at, length_bytes);
    const std::string_view unit = slice(data, at + length_bytes, length);
    if (!is_message(unit)) out += data.substr(at, length_bytes + length);
    at += length_bytes + length;
  }
  return out;
}

// The decoder's configuration (ISO/IEC 14496-15, 8.3.3.1) without arrays of messages.
std::string clean_configuration(std::string_view content) {
  std::string arrays;
  std::uint64_t kept = 0;
  Reader in(content, 22);
  for (std::uint64_t left = in.take(1); left > 0; --left) {
    const std::uint64_t type = in.take(1);
    std::string array = as_big_endian(type, 1);
    const std::uint64_t units = in.take(2);
    array += as_big_endian(units, 2);
    for (std::uint64_t k = 0; k < units; ++k) {
      const std::uint64_t length = in.take(2);
      array += as_big_endian(length, 2) + in.text(length);
    }
    if ((type & 0x3f) < kFirstMessage) arrays += array, ++kept;
  }
  return std::string(slice(content, 0, 22)) + as_big_endian(kept, 1) + arrays;
}

std::optional<std::string> clean_colour(std::string_view content) {
  const std::string_view kind = slice(content, 0, 4);
  if (kind == "nclx") return std::string(slice(content, 0, 11));
  const std::optional<std::string> profile = icc_profile(content.substr(4));
  return profile ? std::optional(std::string(kind) + *profile) : std::nullopt;
}

// The property if it belongs to the picture itself; sizes as the standard has them.
std::optional<std::string> clean_property(const Box& p) {
  if (p.type == "hvcC") return box(p.type, clean_configuration(p.content));
  if (p.type == "colr") {
    const std::optional<std::string> colour = clean_colour(p.content);
    return colour ? std::optional(box(p.type, *colour)) : std::nullopt;
  }
  if (p.type == "pixi") {
    return box(p.type, std::string(slice(p.content, 0, 5 + big_endian(p.content, 4, 1))));
  }
  static const std::map<std::string, std::size_t> kSizes{
      {"ispe", 12}, {"pasp", 8}, {"irot", 1}, {"imir", 1}, {"clap", 32}};
  const auto size = kSizes.find(p.type);
  if (size == kSizes.end()) return std::nullopt;
  return box(p.type, std::string(slice(p.content, 0, size->second)));
}

// Puts the kept items together to a file; their numbers are their places, from 1.
class HeifWriter {
 public:
  HeifWriter(const Heif& heif, const std::vector<std::uint64_t>& order, const std::string& file) {
    for (std::size_t k = 0; k < order.size(); ++k) number_[order[k]] = k + 1;
    for (const std::uint64_t id : order) add(heif, heif.items.at(id), file);
  }

  void add_exif(const std::string& exif) {
    if (exif.empty()) return;
    const std::size_t id = data_.size() + 1;
    entry(id, "Exif", true);
    data_.push_back(as_big_endian(6, 4) + std::string("Exif\0\0", 6) + exif);
    references_ += box("cdsc", as_big_endian(id, 2) + as_big_endian(1, 2) + as_big_endian(1, 2));
  }

  std::string write(const std::string& ftyp) const {
    const std::size_t before = ftyp.size() + meta(0).size() + 8;
    std::string out = ftyp + meta(before), data;
    for (const std::string& d : data_) data += d;
    return out + box("mdat", data);
  }

 private:
  void add(const Heif& heif, const Item& item, const std::string& file) {
    const std::size_t id = data_.size() + 1;
    std::size_t length_bytes = 4;
    std::string associations;
    std::uint64_t count = 0;
    for (const auto& [number, essential] : item.properties) {
      if (number == 0) continue;
      if (number > heif.properties.size()) throw Damaged();
      const Box& p = heif.properties[number - 1];
      const std::optional<std::string> clean = clean_property(p);
      if (!clean) {
        if (essential)
          throw core::InputError(file,
                                 "is a HEIC picture of a kind that cannot be rewritten; save it as JPEG");
        continue;
      }
      if (p.type == "hvcC") length_bytes = (big_endian(p.content, 21, 1) & 3) + 1;
      associations += as_big_endian(property(*clean) | (essential ? 0x8000 : 0), 2);
      ++count;
    }
    associations_ += as_big_endian(id, 2) + as_big_endian(count, 1) + associations;
    entry(id, item.type, id > 1);
    if (item.type == "hvc1") {
      data_.push_back(without_messages(item.data, length_bytes));
    } else {
      const bool grid = item.type == "grid";
      data_.push_back(grid ? item.data.substr(0, big_endian(item.data, 1, 1) & 1 ? 12 : 8) : "");
      std::string parts;
      for (const std::uint64_t part : item.made_from) parts += as_big_endian(number_.at(part), 2);
      references_ += box("dimg", as_big_endian(id, 2) + as_big_endian(item.made_from.size(), 2) + parts);
    }
  }

  std::size_t property(const std::string& bytes) {
    const auto it = std::find(properties_.begin(), properties_.end(), bytes);
    if (it != properties_.end()) return static_cast<std::size_t>(it - properties_.begin()) + 1;
    properties_.push_back(bytes);
    return properties_.size();
  }

  void entry(std::size_t id, const std::string& type, bool hidden) {
    entries_ += full_box("infe", 0x02000000u | (hidden ? 1 : 0),
                         as_big_endian(id, 2) + as_big_endian(0, 2) + type + std::string(1, '\0'));
  }

  std::string meta(std::size_t data_from) const {
    std::string places, properties;
    std::size_t at = data_from;
    for (std::size_t k = 0; k < data_.size(); ++k) {
      places += as_big_endian(k + 1, 2) + as_big_endian(0, 2) + as_big_endian(1, 2) + as_big_endian(at, 4) +
                as_big_endian(data_[k].size(), 4);
      at += data_[k].size();
    }
    for (const std::string& p : properties_) properties += p;
    const std::string count = as_big_endian(data_.size(), 2);
    std::string out = full_box("hdlr", 0, std::string(4, '\0') + "pict" + std::string(13, '\0'));
    out += full_box("pitm", 0, as_big_endian(1, 2));
    out += full_box("iloc", 0, as_big_endian(0x4400, 2) + count + places);
    out += full_box("iinf", 0, count + entries_);
    if (!references_.empty()) out += full_box("iref", 0, references_);
    out += box("iprp", box("ipco", properties) +
                           full_box("ipma", 1, as_big_endian(number_.size(), 4) + associations_));
    return full_box("meta", 0, out);
  }

  std::map<std::uint64_t, std::size_t> number_;  // by the old file's
  std::vector<std::string> data_, properties_;
  std::string entries_, references_, associations_;
};

}  // namespace

std::string clean_heif(const std::string& picture, const CameraFacts& facts, const std::string& file) {
  const std::vector<Box> top = boxes_in(picture, true);
  const std::string_view ftyp = child(top, "ftyp"), whole_meta = child(top, "meta");
  const std::vector<Box> meta = boxes_in(slice(whole_meta, 4, whole_meta.size() - 4));
  Heif heif;
  const std::string_view pitm = child(meta, "pitm");
  heif.primary = big_endian(pitm, 4, big_endian(pitm, 0, 1) == 0 ? 2 : 4);
  read_item_types(child(meta, "iinf"), heif);
  read_references(meta, heif);
  read_properties(boxes_in(child(meta, "iprp")), heif);
  const std::vector<std::uint64_t> order = needed_items(heif, file);
  std::string_view idat;
  for (const Box& b : meta) {
    if (b.type == "idat") idat = b.content;
  }
  read_data(child(meta, "iloc"), picture, idat, {order.begin(), order.end()}, heif);
  HeifWriter writer(heif, order, file);
  writer.add_exif(fresh_exif(facts));
  if (ftyp.size() < 8 || ftyp.size() > 200 || ftyp.size() % 4 != 0) throw Damaged();
  const std::string out = writer.write(box("ftyp", std::string(ftyp)));
  if (out.size() > 0xffffffffu) throw core::InputError(file, "is too large");
  return out;
}

}  // namespace interstice::archive
