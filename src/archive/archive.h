// A folder of bags with an index.
//
//   ROOT/archive.json       what this folder is: {"format": "interstice-archive", "version": 1}
//   ROOT/bags/ENTRY/        one bag an entry, never changed once it has its name
//   ROOT/work/              bags being written (core/temporary.h); those of killed writers are removed
//   ROOT/index.sqlite       made from the bags, see index.h
//   ROOT/lock               held by the one program that writes
//
// An entry exists from the moment its finished and synced folder is renamed from work/ to bags/: before it
// nothing, after it all. The index follows the folder; opening an archive takes in bags the index does not
// know and drops those that are gone.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "archive/entry.h"
#include "archive/index.h"

namespace interstice::archive {

// What to keep. Empty paths: not given.
struct AddRequest {
  std::filesystem::path results;  // folder with fit.json and what goes with it
  std::filesystem::path plan;     // default: results/plan.json
  std::filesystem::path lens;
  std::vector<std::filesystem::path> photos;  // files, or folders whose pictures are taken
  std::filesystem::path notes_file;
  std::string notes;             // used when no notes_file is given
  std::string name, date, wood;  // default: the plan's name, today, none
  int ring = 0;                  // default: the last ring with a piece on it
  PieceStage stage = PieceStage::glued;
  bool again = false;  // keep it even if the same measurement is there already
};

struct Added {
  Entry entry;
  std::size_t shared_files = 0;       // stored once with other entries
  std::vector<std::string> left_out;  // files of the results folder that are not kept
  std::string index_fault;            // the entry is safe, but the index could not be brought up to date
};

struct Verified {
  std::string id;
  std::vector<std::string> faults;  // empty: whole
};

struct Rebuilt {
  std::size_t entries = 0;
  std::vector<std::string> faults;  // folders that could not be taken in, one line each
};

class Archive {
 public:
  // Makes the folder into an archive if it is missing or empty. Throws InputError if it holds anything else.
  static Archive open_or_make(const std::filesystem::path& root);
  // Throws InputError if there is no archive. Works in read-only folders.
  static Archive open(const std::filesystem::path& root);

  // All throw InputError and leave the archive as it was, except as stated.
  Added add(const AddRequest& request);
  std::vector<Entry> list(const EntryFilter& filter) const;
  // An entry by id, by the unambiguous start of one, or by the name of a piece with only one entry.
  Entry find(const std::string& wanted) const;
  std::filesystem::path bag(const std::string& id) const { return root_ / "bags" / id; }
  Verified verify(const std::string& id, int threads) const;
  std::vector<std::string> ids() const;  // of all bags, whether the index knows them or not
  std::vector<LearnedSeam> seams_to_learn_from() const;
  // Bags that could not be read when the archive was opened, one line each.
  const std::vector<std::string>& unreadable() const { return unreadable_; }

  // Makes the index anew from the bags; the old one goes only when the new one is whole.
  static Rebuilt rebuild(const std::filesystem::path& root, int threads = 0);

  const std::filesystem::path& root() const { return root_; }

 private:
  explicit Archive(std::filesystem::path root) : root_(std::move(root)) {}
  void open_index();
  bool open_written_index();
  bool open_read_only_index();
  void remake_index();
  void take_in_changes(ArchiveIndex& index) const;
  // What `ask` finds in the index; in one made anew from the bags if it turns out unusable.
  template <class Ask>
  auto asked(Ask ask) const;
  void read_bags_instead() const;
  std::unique_ptr<ArchiveIndex> writable_index();
  std::string free_id(const Entry& entry) const;
  void store_index(Added& added);

  std::filesystem::path root_;
  mutable std::unique_ptr<ArchiveIndex> index_;  // made from the bags: asking may make it anew
  mutable std::vector<std::string> unreadable_;
};

}  // namespace interstice::archive
