// The index of an archive: an SQLite file made from the bags, for finding. Never the only copy of anything;
// it may be deleted at any time and comes back. Nor is it trusted: a layout other than ours, or a row that
// this program would not write, makes it unusable.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "archive/entry.h"
#include "core/errors.h"

struct sqlite3;

namespace interstice::archive {

// What to look for; empty members do not narrow the search.
struct EntryFilter {
  std::string name{}, wood{};  // parts of the text, without regard to case and accents' form
  std::string from{}, to{};    // dates, inclusive
  std::optional<int> ring{};
  std::optional<PieceStage> stage{};
  std::optional<double> smallest_below_mm{}, smallest_from_mm{};
};

// A seam as `learn` wants it: as wide as it was built at its narrowest, mouth or throat, for so it fills.
struct LearnedSeam {
  std::string piece_name, entry_id;
  std::array<int, 2> rings;
  double planned_mm = 0, built_mm = 0, u95_mm = 0, planned_gap_mm = 0;
};

// Thrown when the index file is not an index, is damaged, or cannot be used; it can be made anew.
class IndexUnusable : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

// The index was written by a newer version of this program, which knows more than we could keep.
class IndexTooNew : public core::InputError {
 public:
  using core::InputError::InputError;
};

class ArchiveIndex {
 public:
  enum class Access { write, read_only, in_memory };
  // write: makes or migrates the file. read_only: the file as it stands (for folders that cannot be written).
  // Throws IndexUnusable, IndexTooNew, or InputError when the disk is full or another program keeps it busy.
  ArchiveIndex(const std::filesystem::path& file, Access access);
  ~ArchiveIndex();
  ArchiveIndex(const ArchiveIndex&) = delete;
  ArchiveIndex& operator=(const ArchiveIndex&) = delete;

  static int current_version();

  std::vector<std::string> ids() const;  // sorted
  void put(const Entry& entry);          // replaces one of the same id; one transaction
  void remove(const std::string& id);
  // Everything at once, or nothing.
  void replace_all(const std::vector<Entry>& entries);

  std::vector<Entry> find(const EntryFilter& filter) const;  // newest first; without seams, files
  std::optional<Entry> get(const std::string& id) const;     // with seams and files
  // Entry and path of kept files with this content.
  std::vector<std::pair<std::string, std::string>> files_with(const std::string& sha256) const;
  bool has_file_of_size(std::uintmax_t bytes) const;
  // Seen seams with a planned width, each once a piece: as the first scan of the glued piece shows it.
  std::vector<LearnedSeam> seams_to_learn_from() const;

 private:
  void migrate();
  void insert(const Entry& entry);
  void erase(const std::string& id);

  struct Close {
    void operator()(sqlite3* db) const;
  };
  std::unique_ptr<sqlite3, Close> db_;
  std::string file_;
};

}  // namespace interstice::archive
