#include "core/files.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>

#include "core/errors.h"

namespace fs = std::filesystem;

namespace interstice {
namespace {

std::string reason() {
  return std::strerror(errno);
}

fs::path beside(const fs::path& path, const char* suffix) {
  fs::path name = path;
  if (name.filename().empty()) name = name.parent_path();
  return name.parent_path() / ("." + name.filename().string() + "." + std::to_string(::getpid()) + suffix);
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
  const fs::path aside = beside(path, ".part");
  const int fd = ::open(aside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd < 0) throw InputError(path.string(), "cannot be written: " + reason());
  try {
    write_all(fd, bytes, path);
  } catch (...) {
    ::close(fd);
    ::unlink(aside.c_str());
    throw;
  }
  const bool closed = ::close(fd) == 0;
  if (!closed || ::rename(aside.c_str(), path.c_str()) != 0) {
    const std::string why = reason();
    ::unlink(aside.c_str());
    throw InputError(path.string(), "cannot be written: " + why);
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
  work_ = beside(target_, ".part");
  fs::remove_all(work_, ec);
  made_from_ = work_;
  while (made_from_.has_parent_path() && made_from_ != made_from_.parent_path() &&
         !fs::exists(made_from_.parent_path(), ec)) {
    made_from_ = made_from_.parent_path();
  }
  fs::create_directories(work_, ec);
  if (ec) throw InputError(target_.string(), "cannot be made: " + ec.message());
}

StagedFolder::~StagedFolder() {
  std::error_code ec;
  if (work_.empty()) return;
  fs::remove_all(work_, ec);
  for (fs::path made = work_; made != made_from_;) {
    made = made.parent_path();
    if (!fs::remove(made, ec)) break;  // someone put something there meanwhile
  }
}

void StagedFolder::commit() {
  std::error_code ec;
  const fs::path old = beside(target_, ".old");
  fs::remove_all(old, ec);
  const bool had = fs::exists(target_, ec);
  if (had) {
    fs::rename(target_, old, ec);
    if (ec) throw InputError(target_.string(), "cannot be replaced: " + ec.message());
  }
  fs::rename(work_, target_, ec);
  if (ec) {
    const std::string why = ec.message();
    if (had) fs::rename(old, target_, ec);
    throw InputError(target_.string(), "cannot be written: " + why);
  }
  work_.clear();
  fs::remove_all(old, ec);
}

}  // namespace interstice
