#include "archive/durable.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <thread>
#include <utility>

#include "core/errors.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::size_t kBlockBytes = 1u << 20;

[[noreturn]] void fail(const fs::path& path, const std::string& doing, int error) {
  throw core::InputError(path.string(), doing + ": " + system_reason(error));
}

// A file descriptor that closes itself.
class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return fd_; }
  int close() { return ::close(std::exchange(fd_, -1)); }

 private:
  int fd_;
};

int open_regular(const fs::path& path) {
  // Non-blocking, so that a pipe without a writer is refused instead of waited for.
  const int fd = ::open(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (fd < 0 && errno == ELOOP)
    throw core::InputError(path.string(), "is a symbolic link; give the file itself");
  if (fd < 0) fail(path, "cannot be opened", errno);
  struct stat status {};
  if (::fstat(fd, &status) != 0 || !S_ISREG(status.st_mode)) {
    ::close(fd);
    throw core::InputError(path.string(), "is not a regular file");
  }
  return fd;
}

void write_all(int fd, std::string_view bytes, const fs::path& path) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail(path, "cannot be written", errno);
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
}

int create_new(const fs::path& path) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (fd < 0) fail(path, "cannot be made", errno);
  return fd;
}

// Bags are never edited; the missing write permission keeps other programs from doing it by mistake.
void finish_new(Descriptor& file, const fs::path& path) {
  if (::fchmod(file.get(), 0444) != 0 && errno != EPERM) fail(path, "cannot be written", errno);
  if (::fsync(file.get()) != 0) fail(path, "cannot be written to the disk", errno);
  if (file.close() != 0) fail(path, "cannot be written", errno);
}

// Calls sink(block) for all of a file.
template <class Sink>
void read_blocks(const fs::path& path, Sink sink) {
  const Descriptor file(open_regular(path));
  std::string block(kBlockBytes, '\0');
  for (;;) {
    const ssize_t n = ::read(file.get(), block.data(), block.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail(path, "cannot be read", errno);
    if (n == 0) return;
    sink(std::string_view(block.data(), static_cast<std::size_t>(n)));
  }
}

}  // namespace

std::string system_reason(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT:
      return "the disk is full; make room and try again";
    case EFBIG:
      return "the file is larger than this system allows";
    case EROFS:
      return "the disk or folder is read-only";
    case EACCES:
    case EPERM:
      return "no permission to do that";
    case EMFILE:
    case ENFILE:
      return "too many open files";
    default:
      return std::strerror(error);
  }
}

FileFacts facts_of_file(const fs::path& path) {
  Digester digester;
  FileFacts facts;
  read_blocks(path, [&](std::string_view block) {
    digester.add(block);
    facts.bytes += block.size();
  });
  facts.digests = digester.finish();
  return facts;
}

FileFacts copy_file_durably(const fs::path& from, const fs::path& to) {
  Descriptor file(create_new(to));
  Digester digester;
  FileFacts facts;
  read_blocks(from, [&](std::string_view block) {
    write_all(file.get(), block, to);
    digester.add(block);
    facts.bytes += block.size();
  });
  finish_new(file, to);
  facts.digests = digester.finish();
  return facts;
}

FileFacts write_new_file_durably(const fs::path& to, std::string_view bytes) {
  Descriptor file(create_new(to));
  write_all(file.get(), bytes, to);
  finish_new(file, to);
  return {bytes.size(), digests_of(bytes)};
}

void make_folder(const fs::path& path) {
  if (::mkdir(path.c_str(), 0777) == 0) return;
  const int error = errno;
  struct stat status {};
  if (error == EEXIST && ::lstat(path.c_str(), &status) == 0 && S_ISDIR(status.st_mode)) return;
  if (error == EEXIST) throw core::InputError(path.string(), "is in the way: a real folder is needed there");
  fail(path, "cannot be made", error);
}

void sync_folder(const fs::path& path) {
  const Descriptor folder(::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (folder.get() < 0) fail(path, "cannot be opened", errno);
  // Some network disks cannot sync a folder and say so with EINVAL; there is nothing more to do there.
  if (::fsync(folder.get()) != 0 && errno != EINVAL) fail(path, "cannot be written to the disk", errno);
}

void rename_durably(const fs::path& from, const fs::path& to) {
  int done = ::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE);
  if (done != 0 && (errno == EINVAL || errno == ENOSYS)) {  // a file system without that flag
    struct stat status {};
    if (::lstat(to.c_str(), &status) == 0) fail(to, "cannot be made", EEXIST);
    done = ::rename(from.c_str(), to.c_str());
  }
  if (done != 0) fail(to, "cannot be made", errno);
  sync_folder(to.parent_path());
  if (from.parent_path() != to.parent_path()) sync_folder(from.parent_path());
}

std::vector<std::string> files_below(const fs::path& folder, std::vector<std::string>* odd) {
  std::vector<std::string> out;
  std::error_code ec;
  const auto relative = [&](const fs::path& p) { return p.lexically_relative(folder).generic_string(); };
  auto it = fs::recursive_directory_iterator(folder, ec);
  for (; !ec && it != fs::recursive_directory_iterator(); it.increment(ec)) {
    const fs::file_status status = it->symlink_status(ec);
    if (ec) break;
    if (fs::is_regular_file(status)) {
      out.push_back(relative(it->path()));
    } else if (fs::is_directory(status)) {
      if (fs::is_empty(it->path(), ec) && !ec) out.push_back(relative(it->path()) + "/");
    } else if (odd != nullptr) {
      odd->push_back(relative(it->path()));
    } else {
      throw core::InputError(it->path().string(), fs::is_symlink(status)
                                                      ? "is a symbolic link; give the file itself"
                                                      : "is not a regular file");
    }
    if (ec) break;
  }
  if (ec) throw core::InputError(folder.string(), "cannot be read: " + ec.message());
  std::sort(out.begin(), out.end());
  return out;
}

FolderLock::FolderLock(const fs::path& file, std::chrono::milliseconds patience)
    : fd_(::open(file.c_str(), O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0666)) {
  if (fd_ < 0) fail(file, "cannot be opened", errno);
  const auto until = std::chrono::steady_clock::now() + patience;
  while (::flock(fd_, LOCK_EX | LOCK_NB) != 0) {
    const int error = errno;
    if (error == EINTR) continue;
    if (error == EWOULDBLOCK && std::chrono::steady_clock::now() < until) {
      std::this_thread::sleep_for(std::chrono::milliseconds(20));
      continue;
    }
    ::close(std::exchange(fd_, -1));
    if (error == EWOULDBLOCK) {
      throw core::InputError(file.parent_path().string(),
                             "another program is writing to this archive; try again later");
    }
    fail(file, "cannot be locked", error);
  }
}

FolderLock::~FolderLock() {
  if (fd_ >= 0) ::close(fd_);
}

}  // namespace interstice::archive
