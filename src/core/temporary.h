// Hidden folders of the program's own, beside the place where a result is to appear:
//
//   .interstice-NNNNNNNN-CCCCCCCC/   N by chance; C: the first digits of the SHA-256 of N and this computer
//     new/NAME        being written, under the name it will have: one that this disk refuses is found at once
//     changing/NAME   on its way to its place; once there, what stood there before
//     aside/NAME      what stood there, on disks that cannot exchange two names
//     kept/NAME       a result that found no other place; never cleared away
//
// The folder is locked (flock) while its maker is at work. What a killed process left is cleared away by a
// later run in the same place: only under a name made by this computer, only when unlocked, and of what may
// be an earlier result only what is provably ours.
#pragma once

#include <filesystem>
#include <string>

namespace interstice::core {

class Temporary {
 public:
  // A path in a hidden folder as the user knows it: where the file is to be.
  std::filesystem::path shown(const std::filesystem::path& path);

  // Clears away what killed runs left in `folder`, then makes a hidden folder there for something to be
  // called `name`. Throws InputError when the disk refuses it.
  Temporary(const std::filesystem::path& folder, std::string name);
  // Removes what was begun; what is not provably ours stays.
  ~Temporary();
  Temporary(const Temporary&) = delete;
  Temporary& operator=(const Temporary&) = delete;

  std::filesystem::path fresh() const { return holder_ / "new" / name_; }
  std::filesystem::path changing() const { return holder_ / "changing" / name_; }
  std::filesystem::path aside() const { return holder_ / "aside" / name_; }
  const std::filesystem::path& holder() const { return holder_; }

  // From here on nothing is removed without proof: new/ becomes changing/. Throws InputError.
  void begin_change();
  void make_aside();  // throws InputError
  // What is in changing/ has found no other place. Its path there.
  std::filesystem::path keep();

 private:
  std::filesystem::path holder_;
  std::string name_;
  int lock_ = -1;
};

// Whether a name is one that Temporary gives on this computer.
bool is_temporary_name(const std::string& name);

// A path in a hidden folder as the user knows it: where the file is to be.
std::filesystem::path shown(const std::filesystem::path& path);

// Clears away what killed runs on this computer left in a folder. Never throws.
void clear_leftovers(const std::filesystem::path& folder);

// Removes a file, or a folder of results, if it is provably ours: the folder's files as far as result.json
// names them and they are as they were written. True: nothing is left of it.
bool remove_if_ours(const std::filesystem::path& path);

// Holds off remove_unfinished() while a result takes its place: a stop comes before that or after it.
class NoStop {
 public:
  NoStop();
  ~NoStop();
  NoStop(const NoStop&) = delete;
  NoStop& operator=(const NoStop&) = delete;
};

// Removes what this process has begun and not finished: for a program that is told to stop. No result takes
// its place afterwards, so the caller ends the process.
void remove_unfinished();

}  // namespace interstice::core
