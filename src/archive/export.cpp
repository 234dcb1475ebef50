#include "archive/export.h"

#include "archive/bag.h"
#include "archive/intake.h"
#include "archive/photo_privacy.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/place.h"
#include "core/temporary.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::uintmax_t kMaxPictureBytes = 1u << 30;

void take_over(const Entry& entry, const KeptFile& file, const fs::path& bag, const ExportRequest& request,
               BagWriter& writer, Exported& exported) {
  const fs::path from = bag / "data" / file.path;
  if (!request.keep_location && is_picture(file.path)) {
    const std::string bytes = core::read_file(from, kMaxPictureBytes);
    try {
      if (tells_location(bytes, file.path)) {
        writer.add_bytes(without_location(bytes, file.path), file.path);
        exported.cleaned.push_back(file.path);
        return;
      }
    } catch (const core::InputError& e) {
      throw core::InputError(entry.id + ": " + e.what() +
                             "; --keep-location exports it as it is, --without-photos leaves "
                             "all photos out");
    }
  }
  if (writer.add_copy(from, file.path).digests.sha256 != file.sha256) {
    throw core::InputError(from.string(), "has changed while it was copied");
  }
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
    info.add("Interstice-Location-Removed", std::to_string(exported.cleaned.size()) + " pictures");
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
  for (const KeptFile& file : entry.files) {
    if (request.without_photos && file.path.rfind("photos/", 0) == 0) continue;
    take_over(entry, file, bag, request, writer, exported);
    ++exported.files;
    exported.bytes += fs::file_size(writer.payload(file.path));
  }
  writer.close(info_for(bag, exported));
  core::put_in_place(temporary, target,
                     [](const fs::path&) { return "something of that name came into being meanwhile"; });
  return exported;
}

}  // namespace interstice::archive
