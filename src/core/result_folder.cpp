#include "core/result_folder.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

#include "core/errors.h"
#include "core/files.h"
#include "core/place.h"
#include "core/result_list.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

// The system goes up only from a folder; without this, "notes.txt/../ring3" would be taken for "ring3".
void require_folders_before_dots(const fs::path& name) {
  fs::path so_far;
  std::error_code ec;
  for (const fs::path& part : name) {
    if (part == ".." && !so_far.empty() && !fs::is_directory(so_far, ec))
      throw InputError(name.string(), "cannot be made: there is no folder " + so_far.string());
    so_far /= part;
  }
}

// The folder that a name stands for, without links, dots and a slash at its end.
fs::path resolved(const fs::path& name) {
  std::error_code ec;
  if (name.empty()) throw InputError("no name of a folder was given");
  const fs::path clean = name.filename().empty() ? name.parent_path() : name;
  if (fs::is_symlink(fs::symlink_status(clean, ec)) && !fs::exists(clean, ec))
    throw InputError(name.string(), "is a link that leads nowhere; name a folder");
  require_folders_before_dots(clean);
  const fs::path real = fs::weakly_canonical(fs::absolute(clean, ec), ec);
  if (ec) throw InputError(name.string(), "cannot be used: " + ec.message());
  return real.filename().empty() ? real.parent_path() : real;
}

bool same(const struct stat& a, const struct stat& b) {
  return a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

// Whether another disk begins here: it could not change its name.
bool is_mount_point(const fs::path& folder) {
  struct statx status {};
  const bool asked = ::statx(AT_FDCWD, folder.c_str(), AT_SYMLINK_NOFOLLOW, STATX_TYPE, &status) == 0;
  if (asked && (status.stx_attributes_mask & STATX_ATTR_MOUNT_ROOT) != 0)
    return (status.stx_attributes & STATX_ATTR_MOUNT_ROOT) != 0;
  struct stat here {
  }, above{};
  if (::lstat(folder.c_str(), &here) != 0 || ::lstat(folder.parent_path().c_str(), &above) != 0) return false;
  return here.st_dev != above.st_dev || here.st_ino == above.st_ino;
}

// Whether the program, and so the shell it was called from, stands in the folder: both would be left in one
// that is gone.
bool is_worked_in(const fs::path& folder) {
  struct stat wanted {
  }, here{}, above{};
  if (::stat(folder.c_str(), &wanted) != 0) return false;
  std::string up = ".";
  for (int level = 0; level < 4096 && ::stat(up.c_str(), &here) == 0; ++level) {
    if (same(here, wanted)) return true;
    up += "/..";
    if (::stat(up.c_str(), &above) != 0 || same(above, here)) return false;
  }
  return false;
}

void require_synced(const fs::path& folder) {
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  const bool synced = fd >= 0 && (::fsync(fd) == 0 || errno == EINVAL);
  const std::string why = synced ? "" : system_words(errno);
  if (fd >= 0) ::close(fd);
  if (!synced) throw InputError(folder.string(), "cannot be written: " + why);
}

}  // namespace

ResultFolder::ResultFolder(const fs::path& target, ResultOf result)
    : name_(target), target_(resolved(target)), result_(std::move(result)) {
  std::error_code ec;
  if (fs::exists(target_, ec)) {
    if (!fs::is_directory(target_, ec)) throw InputError(name_.string(), "is a file, a folder is needed");
    if (is_mount_point(target_))
      throw InputError(name_.string(), "is where a disk begins; name a new folder in it");
    if (is_worked_in(target_))
      throw InputError(name_.string(), "is the folder you are in; name a new folder in it");
  }
  clear_leftovers(target_.parent_path());  // may give an earlier result its name back
  if (const auto why = must_stay(target_)) throw InputError(name_.string(), *why);
  made_from_ = target_;
  while (made_from_ != made_from_.parent_path() && !fs::exists(made_from_.parent_path(), ec))
    made_from_ = made_from_.parent_path();
  try {
    make_work();
  } catch (...) {
    remove_made_folders();
    throw;
  }
}

void ResultFolder::make_work() {
  std::error_code ec;
  fs::create_directories(target_.parent_path(), ec);
  if (ec) throw InputError(name_.string(), "cannot be made: " + ec.message());
  temporary_ = std::make_unique<Temporary>(target_.parent_path(), target_.filename().string());
  struct stat earlier {};
  const bool there = ::lstat(target_.c_str(), &earlier) == 0;
  if (::mkdir(work().c_str(), 0777) != 0)
    throw InputError(name_.string(), "cannot be made: " + system_words(errno));
  if (there) ::chmod(work().c_str(), earlier.st_mode & 07777);
}

ResultFolder::~ResultFolder() {
  remove_made_folders();
}

void ResultFolder::remove_made_folders() {
  temporary_.reset();
  for (fs::path made = target_; made != made_from_;) {
    made = made.parent_path();
    if (::rmdir(made.c_str()) != 0) break;  // the result, or something of somebody's, is in it
  }
}

std::optional<std::string> ResultFolder::holds_other_things(const fs::path& path) const {
  std::error_code ec;
  if (!fs::exists(fs::symlink_status(path / kResultList, ec))) {
    const fs::directory_iterator first(path, ec);
    if (ec) return "cannot be read, so it may hold something; name a new folder";
    return "holds " + one_line(first->path().filename().string()) + " and no " + kResultList +
           " that says it is a result; name a new folder, or move it away";
  }
  ResultList list;
  try {
    list = parse_result_list(read_file(path / kResultList), kResultList);
  } catch (const InputError& e) {
    return std::string("holds something that is no result: ") + e.what() + "; name a new folder";
  }
  if (const auto found = foreign_entry(path, list, result_.inputs))
    return "holds more than an earlier result: " + *found + "; name a new folder, or move that away";
  if (list.command != result_.command)
    return "holds a result of " + one_line(list.command, 40) + "; name a new folder";
  if (list.piece != result_.piece)
    return "holds the result of another piece, " + one_line(list.piece, 80) + "; name a new folder";
  if (!result_.replace) return "holds an earlier result; --replace puts the new one in its place";
  return std::nullopt;
}

std::optional<std::string> ResultFolder::must_stay(const fs::path& path) const {
  struct stat status {};
  if (::lstat(path.c_str(), &status) != 0) return std::nullopt;
  if (!S_ISDIR(status.st_mode)) return "is a file, a folder is needed";
  const bool at_target = path == target_;
  const auto input = at_target ? result_.inputs.inside(target_) : std::nullopt;
  if (input && *input == target_) return "is read by this run; name another folder";
  if (input)
    return "holds " + one_line(input->lexically_relative(target_).string()) +
           ", which this run reads; name a new folder";
  std::error_code ec;
  const bool empty = fs::is_empty(path, ec) && !ec;
  if (const auto why = empty ? std::nullopt : holds_other_things(path)) return why;
  if ((status.st_mode & 0222) == 0 || ::access(path.c_str(), W_OK) != 0)
    return "is write-protected; name a new folder";
  return std::nullopt;
}

void ResultFolder::commit() {
  const ResultList list{result_.command, result_.piece, files_to_list(work())};
  write_new_file(work() / kResultList, write_result_list(list));
  require_synced(work());
  put_in_place(*temporary_, target_, [this](const fs::path& path) { return must_stay(path); });
}

}  // namespace interstice::core
