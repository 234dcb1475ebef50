// File operations whose result is on the disk when they return, and that never follow a symbolic link.
// All throw InputError(file, reason) with the reason in words ("the disk is full", ...).
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "archive/digests.h"

namespace interstice::archive {

struct FileFacts {
  std::uintmax_t bytes = 0;
  Digests digests;
};

// The reason of the last failed system call, for a person.
std::string system_reason(int error);

// Reads a regular file once; a symbolic link, folder, pipe or device is refused.
FileFacts facts_of_file(const std::filesystem::path& path);

// The copy must not exist yet; it is read-only for everybody once written. The facts are those of the bytes
// written, whatever happens to the original meanwhile.
FileFacts copy_file_durably(const std::filesystem::path& from, const std::filesystem::path& to);
FileFacts write_new_file_durably(const std::filesystem::path& to, std::string_view bytes);

void make_folder(const std::filesystem::path& path);  // one level; an existing real folder is fine
void sync_folder(const std::filesystem::path& path);

// Gives a finished folder its name; refuses to replace anything. Both parent folders are synced.
void rename_durably(const std::filesystem::path& from, const std::filesystem::path& to);

// All regular files below a folder, as relative paths with '/', sorted by bytes. Folders with no file in them
// are listed with a '/' at the end. Symbolic links, pipes and devices throw unless `odd` is given: then they
// go there.
std::vector<std::string> files_below(const std::filesystem::path& folder,
                                     std::vector<std::string>* odd = nullptr);

// Exclusive lock on a file, held until destruction and let go by the system when the program dies.
class FolderLock {
 public:
  // Waits up to `patience` for another program, then throws InputError.
  FolderLock(const std::filesystem::path& file, std::chrono::milliseconds patience);
  ~FolderLock();
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;

 private:
  int fd_ = -1;
};

}  // namespace interstice::archive
