#include "archive/archive.h"

#include <unistd.h>

#include <algorithm>

#include "archive/bag.h"
#include "archive/durable.h"
#include "archive/index_file.h"
#include "archive/intake.h"
#include "archive/names.h"
#include "core/errors.h"
#include "core/json_reader.h"
#include "core/output_file.h"
#include "core/parallel.h"
#include "core/place.h"
#include "core/temporary.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr auto kPatience = std::chrono::seconds(60);            // for another program that writes
constexpr auto kReaderPatience = std::chrono::milliseconds(0);  // a reader does without the newest entry
const char* const kMarker = "{\"format\": \"interstice-archive\", \"version\": 1}\n";

bool is_real_folder(const fs::path& path) {
  std::error_code ec;
  return fs::is_directory(fs::symlink_status(path, ec));
}

void check_marker(const fs::path& root) {
  const fs::path marker = root / "archive.json";
  const nlohmann::json document = core::read_json(marker, 4096);
  const core::JsonNode node(document, marker.string());
  if (node.at("format").text() != "interstice-archive") node.at("format").fail("this is not an archive");
  if (node.at("version").number() != 1) node.at("version").fail("only version 1 is understood");
  for (const char* name : {"bags", "work"}) {
    if (!is_real_folder(root / name))
      throw core::InputError((root / name).string(), "is missing or not a real folder");
  }
}

// What stands in a folder that is no archive yet and is not left over from the making of one, cut short: that
// is bags/, work/ and lock, all empty. Nothing: it may become an archive.
std::optional<std::string> holds_other_things(const fs::path& root) {
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::directory_iterator(root)) {
    const std::string name = entry.path().filename().string();
    const fs::file_status status = entry.symlink_status(ec);
    const bool folder = (name == "bags" || name == "work") && fs::is_directory(status);
    const bool file = name == "lock" && fs::is_regular_file(status);
    if ((folder || file) && fs::is_empty(entry.path(), ec) && !ec) continue;
    if (core::is_temporary_name(name) && fs::is_directory(status)) continue;
    return folder ? name + " with something in it" : core::one_line(name);
  }
  return std::nullopt;
}

bool can_write(const fs::path& folder) {
  return ::access(folder.c_str(), W_OK | X_OK) == 0;
}

void refuse_foreign_index(const fs::path& file) {
  if (whose_index(file) == IndexFile::foreign)
    throw core::InputError(file.string(),
                           "is somebody's database, not the index of this archive; move it away");
}

// An index that cannot be used makes room for a new one. If it does not say that it is ours, it may be
// somebody's file, and is kept under another name.
void make_room_for_index(const fs::path& root) {
  std::error_code ec;
  const fs::path file = root / "index.sqlite";
  refuse_foreign_index(file);
  if (whose_index(file) == IndexFile::unknown) {
    const std::optional<fs::path> kept = core::rename_beside(file, file, "-damaged");
    if (!kept) throw core::InputError(file.string(), "is damaged and cannot be moved aside");
    // What belongs to it would be taken for the new one's.
    for (const char* end : {"-wal", "-shm"})
      core::rename_to_new_name(file.string() + end, kept->string() + end);
    return;
  }
  for (const char* end : {"-wal", "-shm", ""}) fs::remove(file.string() + end, ec);
}

}  // namespace

Archive Archive::open_or_make(const fs::path& root) {
  std::error_code ec;
  if (!fs::exists(root / "archive.json", ec)) {
    if (fs::exists(root, ec) && !fs::is_directory(root, ec))
      throw core::InputError(root.string(), "is not a folder");
    if (!fs::exists(root, ec)) fs::create_directories(root, ec);
    if (ec) throw core::InputError(root.string(), "cannot be made: " + system_reason(ec.value()));
    // Another program may have made the archive since it was looked for: its mark comes before all other
    // names.
    const std::optional<std::string> other = holds_other_things(root);
    if (other && !fs::exists(root / "archive.json", ec)) {
      throw core::InputError(root.string(),
                             "holds " + *other + " and is no archive; name a new or empty folder");
    }
    const FolderLock lock(root / "lock", kPatience);
    make_folder(root / "bags");
    make_folder(root / "work");
    if (!fs::exists(root / "archive.json", ec))
      core::OutputFile(root / "archive.json", core::FileKind::json("interstice-archive")).write(kMarker);
    sync_folder(root);
  }
  return open(root);
}

Archive Archive::open(const fs::path& root) {
  std::error_code ec;
  if (!fs::is_directory(root, ec))
    throw core::InputError(root.string(), "no such archive; archive add makes one");
  if (!fs::exists(root / "archive.json", ec)) {
    throw core::InputError(root.string(), "is not an archive (archive.json is missing)");
  }
  check_marker(root);
  Archive archive(root);
  archive.open_index();
  return archive;
}

std::unique_ptr<ArchiveIndex> Archive::writable_index() {
  const fs::path file = root_ / "index.sqlite";
  std::error_code ec;
  const fs::file_status status = fs::symlink_status(file, ec);
  if (fs::exists(status) && !fs::is_regular_file(status))
    throw core::InputError(file.string(), "is not a regular file");
  refuse_foreign_index(file);  // opening it for writing would change it
  return std::make_unique<ArchiveIndex>(file, ArchiveIndex::Access::write);
}

void Archive::open_index() {
  if (can_write(root_) ? open_written_index() : open_read_only_index()) return;
  // Damaged or out of date, and nothing to be done about it now: read the bags themselves.
  index_ = std::make_unique<ArchiveIndex>(fs::path(), ArchiveIndex::Access::in_memory);
  take_in_changes(*index_);
}

bool Archive::open_written_index() {
  try {
    try {
      index_ = writable_index();
      if (index_->ids() == ids()) return true;
      const FolderLock lock(root_ / "lock", kReaderPatience);
      take_in_changes(*index_);
    } catch (const IndexUnusable&) {
      const FolderLock lock(root_ / "lock", kReaderPatience);
      remake_index();
    }
    return true;
  } catch (const IndexTooNew&) {
    throw;
  } catch (const IndexUnusable&) {
    return false;
  } catch (const core::InputError&) {
    return index_ != nullptr;  // busy, or the disk is full: the index as it stands will do for reading
  }
}

bool Archive::open_read_only_index() {
  std::error_code ec;
  const fs::path file = root_ / "index.sqlite";
  if (!fs::is_regular_file(fs::symlink_status(file, ec))) return false;  // a pipe would be waited for
  const std::uintmax_t unsaved = fs::file_size(root_ / "index.sqlite-wal", ec);
  if (!ec && unsaved > 0) return false;  // changes that only a writer could bring in
  try {
    index_ = std::make_unique<ArchiveIndex>(file, ArchiveIndex::Access::read_only);
    return index_->ids() == ids();
  } catch (const IndexUnusable&) {
    return false;
  }
}

void Archive::remake_index() {
  index_.reset();
  unreadable_.clear();
  make_room_for_index(root_);
  index_ = writable_index();
  take_in_changes(*index_);
}

void Archive::take_in_changes(ArchiveIndex& index) const {
  const std::vector<std::string> known = index.ids(), standing = ids();
  for (const std::string& id : known) {
    if (!std::binary_search(standing.begin(), standing.end(), id)) index.remove(id);
  }
  for (const std::string& id : standing) {
    if (std::binary_search(known.begin(), known.end(), id)) continue;
    try {
      index.put(read_entry(bag(id)));
    } catch (const core::InputError& e) {
      unreadable_.push_back(e.what());
    }
  }
}

std::vector<std::string> Archive::ids() const {
  std::vector<std::string> out;
  std::error_code ec;
  fs::directory_iterator it(root_ / "bags", ec);
  for (; !ec && it != fs::directory_iterator(); it.increment(ec))
    out.push_back(it->path().filename().string());
  if (ec) throw core::InputError((root_ / "bags").string(), "cannot be read: " + system_reason(ec.value()));
  std::sort(out.begin(), out.end());
  return out;
}

template <class Ask>
auto Archive::asked(Ask ask) const {
  try {
    return ask(*index_);
  } catch (const IndexUnusable&) {
    read_bags_instead();
    return ask(*index_);
  }
}

void Archive::read_bags_instead() const {
  index_ = std::make_unique<ArchiveIndex>(fs::path(), ArchiveIndex::Access::in_memory);
  unreadable_.clear();
  take_in_changes(*index_);
  if (!can_write(root_)) return;
  try {  // not to be found unusable again the next time
    const FolderLock lock(root_ / "lock", kReaderPatience);
    make_room_for_index(root_);
  } catch (const core::InputError&) {
    // Another program writes; it will see for itself.
  }
}

std::vector<Entry> Archive::list(const EntryFilter& filter) const {
  return asked([&](const ArchiveIndex& index) { return index.find(filter); });
}

std::vector<LearnedSeam> Archive::seams_to_learn_from() const {
  return asked([](const ArchiveIndex& index) { return index.seams_to_learn_from(); });
}

Entry Archive::find(const std::string& wanted) const {
  const auto get = [&](const std::string& id) {
    return asked([&](const ArchiveIndex& index) { return index.get(id); });
  };
  if (const auto entry = get(wanted)) return *entry;
  std::vector<std::string> hits;
  const std::string key = search_key(wanted);
  for (const Entry& entry : list({})) {
    const bool starts = !wanted.empty() && entry.id.rfind(wanted, 0) == 0;
    if (starts || search_key(entry.name) == key) hits.push_back(entry.id);
  }
  if (hits.size() == 1) return *get(hits.front());
  if (hits.empty()) {
    throw core::InputError("\"" + core::one_line(wanted, 80) + "\" is not in the archive " + root_.string() +
                           "; archive list shows what is");
  }
  std::string line = "\"" + core::one_line(wanted, 80) + "\" stands for several entries:";
  for (std::size_t i = 0; i < hits.size() && i < 5; ++i) line += (i == 0 ? " " : ", ") + hits[i];
  throw core::InputError(line + (hits.size() > 5 ? ", ..." : "") + "; name one of them");
}

Verified Archive::verify(const std::string& id, int threads) const {
  Verified result{id, verify_bag(bag(id), threads)};
  if (!result.faults.empty()) return result;
  try {
    read_entry(bag(id));
  } catch (const core::InputError& e) {
    result.faults.push_back(e.what());
  }
  return result;
}

std::string Archive::free_id(const Entry& entry) const {
  const std::string base = entry.date + "-" + slug(entry.name) + "-ring" + std::to_string(entry.ring) +
                           (entry.stage == PieceStage::glued ? "" : std::string("-") + name_of(entry.stage));
  std::error_code ec;
  for (int k = 1;; ++k) {
    const std::string id = k == 1 ? base : base + "-" + std::to_string(k);
    if (!fs::exists(fs::symlink_status(bag(id), ec))) return id;
  }
}

Added Archive::add(const AddRequest& request) {
  const FolderLock lock(root_ / "lock", kPatience);
  core::clear_leftovers(root_ / "work");
  core::clear_leftovers(root_);
  // Entries of programs that wrote between opening and locking; sharing photos and finding doubles needs
  // them.
  try {
    take_in_changes(*index_);
  } catch (const IndexUnusable&) {
    remake_index();
  }
  const core::Temporary work(root_ / "work", "bag");
  BagWriter writer(work.fresh());
  Added added = fill_bag(request, writer, *index_, root_ / "bags");
  added.entry.id = free_id(added.entry);
  write_tags(added.entry, writer);
  rename_durably(work.fresh(), bag(added.entry.id));
  store_index(added);
  return added;
}

// The entry is kept by now, whatever becomes of the index.
void Archive::store_index(Added& added) {
  try {
    added.entry = read_entry(bag(added.entry.id));
    try {
      index_->put(added.entry);
    } catch (const IndexUnusable&) {
      remake_index();
    }
  } catch (const std::exception& e) {
    added.index_fault = e.what();
  }
}

Rebuilt Archive::rebuild(const fs::path& root, int threads) {
  std::error_code ec;
  if (!fs::is_directory(root, ec))
    throw core::InputError(root.string(), "no such archive; archive add makes one");
  if (!fs::exists(root / "archive.json", ec)) {
    throw core::InputError(root.string(), "is not an archive (archive.json is missing)");
  }
  check_marker(root);
  Archive archive(root);
  const FolderLock lock(root / "lock", kPatience);
  core::clear_leftovers(root / "work");
  const std::vector<std::string> ids = archive.ids();
  std::vector<std::optional<Entry>> read(ids.size());
  std::vector<std::string> fault(ids.size());
  core::parallel_for(ids.size(), threads, [&](std::size_t i) {
    try {
      read[i] = read_entry(archive.bag(ids[i]));
    } catch (const core::InputError& e) {
      fault[i] = e.what();
    }
  });
  Rebuilt rebuilt;
  std::vector<Entry> entries;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    if (read[i]) entries.push_back(std::move(*read[i]));
    if (!fault[i].empty()) rebuilt.faults.push_back(fault[i]);
  }
  rebuilt.entries = entries.size();
  try {
    archive.writable_index()->replace_all(entries);
  } catch (const IndexUnusable&) {
    make_room_for_index(root);
    archive.writable_index()->replace_all(entries);
  }
  return rebuilt;
}

}  // namespace interstice::archive
