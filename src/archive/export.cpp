#include "archive/export.h"

#include <zlib.h>

#include <algorithm>
#include <set>

#include "archive/bag.h"
#include "archive/intake.h"
#include "archive/names.h"
#include "archive/photo_privacy.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/place.h"
#include "core/temporary.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::uintmax_t kMaxPictureBytes = 1u << 30;

// What this program writes and what the maker gives it: no more than names and measurements.
bool is_result(const std::string& path) {
  static const std::set<std::string> kResults{
      "fit.json",       "plan.json",         "lens.json",     "pour.json",  "seams.csv",
      "cloud.ply",      "report.html",       "notes.txt",     "pieces.glb", "scan/cameras.json",
      "scan/scan.json", "scan/surface.json", "scan/cloud.ply"};
  return kResults.contains(path);
}

// Earlier versions wrote where the photos stood on the maker's disk. Check sums become those of the photos as
// they are exported now, so that the scan goes with them.
std::string for_handing_on(const std::string& scan_json, const std::string& file, const BagWriter& writer) {
  nlohmann::ordered_json root;
  core::parse_json(scan_json, file);
  root = nlohmann::ordered_json::parse(scan_json);
  if (root.is_object() && root.contains("photos") && root["photos"].is_array()) {
    for (auto& photo : root["photos"]) {
      if (!photo.is_object() || !photo.contains("file") || !photo["file"].is_string()) continue;
      const std::string name = fs::path(photo["file"].get<std::string>()).filename().string();
      photo["file"] = name;
      const fs::path exported = writer.payload("photos/" + name);
      std::error_code ec;
      if (path_fault("photos/" + name) || !fs::is_regular_file(exported, ec) || !photo.contains("crc32"))
        continue;
      const std::string bytes = core::read_file(exported, kMaxPictureBytes);
      photo["crc32"] = crc32_z(0, reinterpret_cast<const Bytef*>(bytes.data()), bytes.size());
    }
  }
  return root.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

enum class Taken { as_it_is, cleaned, left_out };

Taken take_over(const KeptFile& file, const fs::path& bag, const ExportRequest& request, BagWriter& writer) {
  const fs::path from = bag / "data" / file.path;
  const bool is_photo = file.path.rfind("photos/", 0) == 0;
  if (!request.keep_location) {
    if (file.path == "scan/scan.json") {
      writer.add_bytes(for_handing_on(core::read_file(from), file.path, writer), file.path);
      return Taken::as_it_is;
    }
    if (!is_result(file.path)) {
      const std::string bytes = core::read_file(from, kMaxPictureBytes);
      if (is_photo || is_picture(file.path) || is_picture_content(bytes)) {
        writer.add_bytes(clean_picture(bytes, file.path), file.path);
        return Taken::cleaned;
      }
      return Taken::left_out;
    }
  }
  if (writer.add_copy(from, file.path).digests.sha256 != file.sha256) {
    throw core::InputError(from.string(), "has changed while it was copied");
  }
  return Taken::as_it_is;
}

// Pictures that cannot be cleaned, all of them in one line: so nobody has to try again for each.
[[noreturn]] void refuse(const std::string& id, const std::vector<std::string>& faults) {
  constexpr std::size_t kShown = 5;
  std::string line = id + ": ";
  for (std::size_t i = 0; i < std::min(faults.size(), kShown); ++i) line += (i > 0 ? "; " : "") + faults[i];
  if (faults.size() > kShown) line += "; and " + std::to_string(faults.size() - kShown) + " more";
  throw core::InputError(
      line + ": --without-photos leaves all photos out, --keep-location exports them as they are");
}

void take_over_all(const Entry& entry, const fs::path& bag, const ExportRequest& request, BagWriter& writer,
                   Exported& exported) {
  std::vector<std::string> faults;
  for (const KeptFile& file : entry.files) {
    if (request.without_photos && file.path.rfind("photos/", 0) == 0) continue;
    Taken taken = Taken::as_it_is;
    try {
      taken = take_over(file, bag, request, writer);
    } catch (const core::InputError& e) {
      if (request.keep_location || is_result(file.path)) throw;
      faults.push_back(core::one_line(e.what(), 200));
      continue;
    }
    if (taken == Taken::left_out) exported.left_out.push_back(file.path);
    if (taken == Taken::left_out) continue;
    if (taken == Taken::cleaned) exported.cleaned.push_back(file.path);
    ++exported.files;
    exported.bytes += fs::file_size(writer.payload(file.path));
  }
  if (!faults.empty()) refuse(entry.id, faults);
}

BagInfo info_for(const fs::path& bag, const Exported& exported) {
  const fs::path file = bag / "bag-info.txt";
  const BagInfo original = parse_bag_info(core::read_file(file), file.string());
  BagInfo info;
  for (const auto& [label, value] : original.fields()) {
    if (label != "Payload-Oxum" && label != "Bagging-Date") info.add(label, value);
  }
  info.add("Bagging-Date", today());
  info.add("Interstice-Exported-From", facts_of_file(bag / "tagmanifest-sha256.txt").digests.sha256);
  if (!exported.cleaned.empty()) {
    info.add("Interstice-Pictures-Cleaned", std::to_string(exported.cleaned.size()));
  }
  return info;
}

}  // namespace

Exported export_entry(const Archive& archive, const std::string& id, const fs::path& to,
                      const ExportRequest& request, int threads) {
  const fs::path bag = archive.bag(id);
  const fs::path target = fs::absolute(to.filename().empty() ? to.parent_path() : to).lexically_normal();
  std::error_code ec;
  if (fs::exists(fs::symlink_status(target, ec))) {
    throw core::InputError(to.string(), "exists already; name a new folder");
  }
  const Verified verified = archive.verify(id, threads);
  if (!verified.faults.empty()) {
    throw core::InputError(id + ": is damaged (" + verified.faults.front() +
                           "); archive verify lists everything");
  }
  const Entry entry = read_entry(bag);
  fs::create_directories(target.parent_path(), ec);
  if (ec) throw core::InputError(to.string(), "cannot be made: " + ec.message());
  core::Temporary temporary(target.parent_path(), target.filename().string());
  Exported exported;
  BagWriter writer(temporary.fresh());
  take_over_all(entry, bag, request, writer, exported);
  writer.close(info_for(bag, exported));
  core::put_in_place(temporary, target,
                     [](const fs::path&) { return "something of that name came into being meanwhile"; });
  return exported;
}

}  // namespace interstice::archive
