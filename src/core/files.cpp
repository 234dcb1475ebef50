#include "core/files.h"

#include <fcntl.h>
#include <signal.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <mutex>
#include <set>
#include <system_error>
#include <vector>

#include "core/errors.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

std::string reason() {
  return std::strerror(errno);
}

fs::path beside(const fs::path& path, const char* suffix) {
  fs::path name = path;
  if (name.filename().empty()) name = name.parent_path();
  return name.parent_path() / ("." + name.filename().string() + "." + std::to_string(::getpid()) + suffix);
}

// What this process has begun and not finished, for remove_unfinished().
std::mutex& unfinished_mutex() {
  static std::mutex mutex;
  return mutex;
}
std::set<fs::path>& unfinished() {
  static std::set<fs::path> paths;
  return paths;
}
void begin(const fs::path& path) {
  const std::scoped_lock lock(unfinished_mutex());
  unfinished().insert(path);
}
void finish(const fs::path& path) {
  const std::scoped_lock lock(unfinished_mutex());
  unfinished().erase(path);
}

// The process that made ".NAME.<process>.<suffix>"; 0 for other names.
pid_t maker_of(const std::string& file, const std::string& name, const std::string& suffix) {
  const std::string front = "." + name + ".";
  if (file.size() <= front.size() + suffix.size() || file.rfind(front, 0) != 0 ||
      file.compare(file.size() - suffix.size(), suffix.size(), suffix) != 0) {
    return 0;
  }
  const char *first = file.data() + front.size(), *last = file.data() + file.size() - suffix.size();
  pid_t pid = 0;
  const auto [end, error] = std::from_chars(first, last, pid);
  return error == std::errc() && end == last && pid > 0 ? pid : 0;
}

// Clears away what a killed process left beside `path`. Where it was killed between moving the earlier result
// aside and putting the new one in its place, the earlier one gets its name back.
void tidy_up(fs::path path) {
  if (path.filename().empty()) path = path.parent_path();
  const std::string name = path.filename().string();
  std::error_code ec;
  const fs::path folder = path.parent_path().empty() ? fs::path(".") : path.parent_path();
  std::vector<fs::path> old, part;
  for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
    const std::string file = it->path().filename().string();
    for (const char* suffix : {".part", ".old"}) {
      const pid_t pid = maker_of(file, name, suffix);
      if (pid == 0 || ::kill(pid, 0) == 0 || errno != ESRCH) continue;
      (suffix[1] == 'o' ? old : part).push_back(it->path());
    }
  }
  for (const fs::path& p : old) {
    if (!fs::exists(path, ec)) fs::rename(p, path, ec);
    fs::remove_all(p, ec);
  }
  for (const fs::path& p : part) fs::remove_all(p, ec);
}

void write_all(int fd, std::string_view bytes, const fs::path& path) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) throw InputError(path.string(), "cannot be written: " + reason());
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
  if (::fsync(fd) != 0 && errno != EINVAL && errno != EROFS)
    throw InputError(path.string(), "cannot be written: " + reason());
}

// The place a chain of links ends at, whether or not anything stands there yet.
fs::path behind_links(fs::path path) {
  std::error_code ec;
  for (int links = 0; fs::is_symlink(fs::symlink_status(path, ec)); ++links) {
    if (links == 40) throw InputError(path.string(), "cannot be written: its links lead nowhere");
    const fs::path to = fs::read_symlink(path, ec);
    if (ec) throw InputError(path.string(), "cannot be written: " + ec.message());
    path = to.is_absolute() ? to : path.parent_path() / to;
  }
  return path;
}

// A pipe, a terminal, /dev/null: there is no old content to keep, and nothing may be put in its place.
void write_to_device(const fs::path& path, std::string_view bytes) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CLOEXEC | O_NOCTTY);
  if (fd < 0) throw InputError(path.string(), "cannot be written: " + reason());
  try {
    write_all(fd, bytes, path);
  } catch (...) {
    ::close(fd);
    throw;
  }
  ::close(fd);
}

}  // namespace

std::string read_file(const fs::path& path, std::uintmax_t max_bytes) {
  std::error_code ec;
  const fs::file_status status = fs::status(path, ec);
  if (!fs::exists(status)) throw InputError(path.string(), "no such file");
  if (fs::is_directory(status)) throw InputError(path.string(), "is a folder, a file is needed");
  const std::uintmax_t size = fs::is_regular_file(status) ? fs::file_size(path, ec) : 0;
  if (!ec && size > max_bytes) {
    throw InputError(path.string(), "is larger than the limit of " + std::to_string(max_bytes >> 20) + " MB");
  }
  std::ifstream in(path, std::ios::binary);
  if (!in) throw InputError(path.string(), "cannot be opened: " + reason());
  std::string bytes;
  bytes.reserve(size);
  char block[1 << 16];
  while (in.read(block, sizeof block) || in.gcount() > 0) {
    bytes.append(block, static_cast<std::size_t>(in.gcount()));
    if (bytes.size() > max_bytes) throw InputError(path.string(), "is larger than the limit");
  }
  if (in.bad()) throw InputError(path.string(), "cannot be read to its end");
  return bytes;
}

void write_file_atomically(const fs::path& name, std::string_view bytes) {
  std::error_code ec;
  const fs::file_type type = fs::status(name, ec).type();  // of what links lead to
  if (type == fs::file_type::directory) throw InputError(name.string(), "is a folder, a file is needed");
  if (type == fs::file_type::fifo || type == fs::file_type::character || type == fs::file_type::block ||
      type == fs::file_type::socket) {
    return write_to_device(name, bytes);
  }
  const fs::path path = behind_links(name);
  tidy_up(path);
  const fs::path aside = beside(path, ".part");
  begin(aside);
  const int fd = ::open(aside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd < 0) {
    const std::string why = reason();
    finish(aside);
    throw InputError(path.string(), "cannot be written: " + why);
  }
  try {
    write_all(fd, bytes, path);
  } catch (...) {
    ::close(fd);
    ::unlink(aside.c_str());
    finish(aside);
    throw;
  }
  const bool closed = ::close(fd) == 0;
  if (!closed || ::rename(aside.c_str(), path.c_str()) != 0) {
    const std::string why = reason();
    ::unlink(aside.c_str());
    finish(aside);
    throw InputError(path.string(), "cannot be written: " + why);
  }
  finish(aside);
}

void remove_unfinished() {
  const std::scoped_lock lock(unfinished_mutex());
  std::error_code ec;
  // Other threads may still be writing into a folder that is being removed: once more, then.
  for (int round = 0; round < 3; ++round) {
    for (const fs::path& path : unfinished()) fs::remove_all(path, ec);
  }
}

StagedFolder::StagedFolder(fs::path target, std::string marker) : target_(std::move(target)) {
  if (target_.filename().empty()) target_ = target_.parent_path();
  std::error_code ec;
  if (fs::exists(target_, ec)) {
    if (!fs::is_directory(target_, ec)) throw InputError(target_.string(), "is a file, a folder is needed");
    if (!fs::is_empty(target_, ec) && !fs::exists(target_ / marker, ec)) {
      throw InputError(target_.string(), "holds other files; name a new folder for the results");
    }
  }
  tidy_up(target_);
  work_ = beside(target_, ".part");
  fs::remove_all(work_, ec);
  made_from_ = work_;
  while (made_from_.has_parent_path() && made_from_ != made_from_.parent_path() &&
         !fs::exists(made_from_.parent_path(), ec)) {
    made_from_ = made_from_.parent_path();
  }
  fs::create_directories(work_, ec);
  if (ec) throw InputError(target_.string(), "cannot be made: " + ec.message());
  begin(work_);
}

StagedFolder::~StagedFolder() {
  std::error_code ec;
  if (work_.empty()) return;
  fs::remove_all(work_, ec);
  finish(work_);
  for (fs::path made = work_; made != made_from_;) {
    made = made.parent_path();
    if (!fs::remove(made, ec)) break;  // someone put something there meanwhile
  }
}

void StagedFolder::commit() {
  const std::scoped_lock lock(unfinished_mutex());  // a stop comes before this or after it
  std::error_code ec;
  const bool had = fs::exists(target_, ec);
  // The new folder and the earlier one change names in one step, so that no moment is without a result.
  if (had && ::renameat2(AT_FDCWD, work_.c_str(), AT_FDCWD, target_.c_str(), RENAME_EXCHANGE) == 0) {
    fs::remove_all(work_, ec);
    unfinished().erase(work_);
    work_.clear();
    return;
  }
  const fs::path old = beside(target_, ".old");  // a file system that cannot: see tidy_up()
  if (had) {
    fs::remove_all(old, ec);
    fs::rename(target_, old, ec);
    if (ec) throw InputError(target_.string(), "cannot be replaced: " + ec.message());
  }
  fs::rename(work_, target_, ec);
  if (ec) {
    const std::string why = ec.message();
    if (had) fs::rename(old, target_, ec);
    throw InputError(target_.string(), "cannot be written: " + why);
  }
  unfinished().erase(work_);
  work_.clear();
  if (had) fs::remove_all(old, ec);
}

}  // namespace interstice::core
