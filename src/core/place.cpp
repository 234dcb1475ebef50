#include "core/place.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>

#include "core/errors.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

constexpr const char* kCameMeanwhile = "something of that name came into being meanwhile";

bool lacks(int error) {
  return error == EINVAL || error == ENOSYS || error == EOPNOTSUPP;
}

bool stands(const fs::path& path) {
  struct stat status {};
  return ::lstat(path.c_str(), &status) == 0;
}

bool is_folder(const fs::path& path) {
  struct stat status {};
  return ::lstat(path.c_str(), &status) == 0 && S_ISDIR(status.st_mode);
}

// On disks without RENAME_NOREPLACE. A folder never takes the place of anything but an empty folder; a file
// gets a second name, or the place of an empty file made just now.
bool rename_by_detour(const fs::path& from, const fs::path& to) {
  if (is_folder(from)) return ::rename(from.c_str(), to.c_str()) == 0;
  if (::link(from.c_str(), to.c_str()) == 0) {
    ::unlink(from.c_str());
    return true;
  }
  if (errno == EEXIST) return false;
  const int fd = ::open(to.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (fd < 0) return false;
  ::close(fd);
  return ::rename(from.c_str(), to.c_str()) == 0;
}

bool exchange(const fs::path& a, const fs::path& b) {
  return ::renameat2(AT_FDCWD, a.c_str(), AT_FDCWD, b.c_str(), RENAME_EXCHANGE) == 0;
}

void sync(const fs::path& folder) {
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return;
  ::fsync(fd);  // a disk that cannot sync a folder has nothing more to offer
  ::close(fd);
}

[[noreturn]] void keep_aside(Temporary& temporary, const fs::path& target, const std::string& why) {
  const fs::path from = stands(temporary.changing()) ? temporary.changing() : temporary.fresh();
  fs::path kept;
  if (const auto beside = rename_beside(from, target, "-new")) {
    kept = *beside;
  } else {
    kept = temporary.keep();
  }
  throw InputError(target.string(), why + "; the new result is kept as " + kept.string());
}

// The disk cannot exchange names. A file is replaced in one step; a folder must leave its name for a moment
// (a later run gives it back if this one is killed then).
void replace_by_detour(Temporary& temporary, const fs::path& target, const MayReplace& may_replace) {
  if (!is_folder(target)) {
    if (const auto why = may_replace(target)) keep_aside(temporary, target, *why);
    if (::rename(temporary.changing().c_str(), target.c_str()) != 0)
      keep_aside(temporary, target, "cannot be written: " + system_words(errno));
    return;
  }
  temporary.make_aside();
  if (::rename(target.c_str(), temporary.aside().c_str()) != 0)
    keep_aside(temporary, target, "cannot be replaced: " + system_words(errno));
  std::optional<std::string> why = may_replace(temporary.aside());
  if (!why && !rename_to_new_name(temporary.changing(), target))
    why = errno == EEXIST ? kCameMeanwhile : "cannot be written: " + system_words(errno);
  if (why) {
    if (!rename_to_new_name(temporary.aside(), target)) rename_beside(temporary.aside(), target, "-earlier");
    keep_aside(temporary, target, *why);
  }
  sync(target.parent_path());
  if (!remove_if_ours(temporary.aside())) rename_beside(temporary.aside(), target, "-earlier");
}

void replace(Temporary& temporary, const fs::path& target, const MayReplace& may_replace) {
  temporary.begin_change();
  if (!exchange(temporary.changing(), target)) {
    const int error = errno;
    if (lacks(error)) return replace_by_detour(temporary, target, may_replace);
    keep_aside(temporary, target,
               error == ENOENT ? "was taken away meanwhile" : "cannot be replaced: " + system_words(error));
  }
  if (const auto why = may_replace(temporary.changing())) {
    if (!exchange(temporary.changing(), target)) {
      const auto earlier = rename_beside(temporary.changing(), target, "-earlier");
      throw InputError(target.string(), *why + "; the new result is there, and what stood there is kept as " +
                                            earlier.value_or(temporary.changing()).string());
    }
    keep_aside(temporary, target, *why);
  }
  sync(target.parent_path());
  const fs::path earlier = temporary.changing();
  const bool gone = is_folder(earlier) ? remove_if_ours(earlier) || ::rmdir(earlier.c_str()) == 0
                                       : ::unlink(earlier.c_str()) == 0;
  if (!gone) rename_beside(earlier, target, "-earlier");
}

}  // namespace

std::string system_words(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT:
      return "the disk is full; make room and try again";
    case EROFS:
      return "the disk or folder is read-only";
    case ENAMETOOLONG:
      return "the name is too long for this disk";
    case EINVAL:
      return "this disk does not take such a name";
    default:
      return std::strerror(error);
  }
}

bool rename_to_new_name(const fs::path& from, const fs::path& to) {
  if (::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) return true;
  return lacks(errno) && rename_by_detour(from, to);
}

std::optional<fs::path> rename_beside(const fs::path& from, const fs::path& target,
                                      const std::string& ending) {
  const bool file = !is_folder(from);
  const std::string extension = file ? target.extension().string() : "";
  for (const std::string& stem :
       {file ? target.stem().string() : target.filename().string(), std::string("interstice")}) {
    for (int k = 1; k < 100; ++k) {
      const fs::path to =
          target.parent_path() / (stem + ending + (k == 1 ? "" : "-" + std::to_string(k)) + extension);
      if (rename_to_new_name(from, to)) return to;
      if (errno != EEXIST && errno != ENOTEMPTY && errno != EISDIR) break;
    }
  }
  return std::nullopt;
}

void put_in_place(Temporary& temporary, const fs::path& target, const MayReplace& may_replace) {
  const NoStop hold;
  if (!stands(target)) {
    if (rename_to_new_name(temporary.fresh(), target)) return sync(target.parent_path());
    keep_aside(
        temporary, target,
        errno == EEXIST || errno == ENOTEMPTY ? kCameMeanwhile : "cannot be written: " + system_words(errno));
  }
  if (const auto why = may_replace(target)) keep_aside(temporary, target, *why);
  replace(temporary, target, may_replace);
}

}  // namespace interstice::core
