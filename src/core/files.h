// Files are written whole or not at all: first aside, then renamed into place.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

namespace interstice::core {

// Reads a whole file. Throws InputError naming the file when it cannot be read, is a folder, or is larger
// than max_bytes.
std::string read_file(const std::filesystem::path& path, std::uintmax_t max_bytes = 256u << 20);

// Writes bytes beside path, syncs, and renames over it: path holds the old content or the new, never a part.
// A link stays a link: what it leads to is replaced. Pipes and devices (/dev/stdout) are written to directly.
// Throws InputError naming the file when that fails; what was at path then stays as it was. What a killed
// process left aside of the same name is cleared away.
void write_file_atomically(const std::filesystem::path& path, std::string_view bytes);

// Removes what write_file_atomically() and StagedFolder of this process have begun and not finished: for a
// program that is told to stop. No result takes its place afterwards, so the caller ends the process.
void remove_unfinished();

// A folder that appears under its name only when complete. Fill work(), then commit(). Without a commit the
// work folder is removed and whatever stood under the target's name is untouched. An earlier folder of that
// name is replaced by commit() only if it is empty or looks like one written by this program (it holds the
// file named by `marker`); anything else is refused by the constructor.
class StagedFolder {
 public:
  StagedFolder(std::filesystem::path target, std::string marker);
  ~StagedFolder();
  StagedFolder(const StagedFolder&) = delete;
  StagedFolder& operator=(const StagedFolder&) = delete;

  const std::filesystem::path& work() const { return work_; }
  void commit();

 private:
  std::filesystem::path target_;
  std::filesystem::path work_;
  std::filesystem::path made_from_;  // topmost folder made for work_, removed again without a commit
};

}  // namespace interstice::core
