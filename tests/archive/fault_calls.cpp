#include "archive/fault_calls.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <utility>

namespace faults {
namespace {

std::atomic<long> count{0}, target{0};
std::atomic<Mode> armed{Mode::none};
std::atomic<bool> recording{false};
long turn = 0;
std::function<void()> in_turn;
Disk disk;

std::vector<Call>& log_of_calls() {
  static std::vector<Call> calls;
  return calls;
}

std::string path_of(int fd) {
  char link[64], path[4096];
  std::snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  const ssize_t n = ::readlink(link, path, sizeof path);
  return n > 0 ? std::string(path, static_cast<std::size_t>(n)) : "";
}

bool is_file(int fd) {
  struct stat status {};
  return ::fstat(fd, &status) == 0 && (S_ISREG(status.st_mode) || S_ISDIR(status.st_mode));
}

// True when the call is to fail.
bool step(const char* what, const std::string& path, bool takes_space) {
  if (recording) log_of_calls().push_back({what, path});
  const long n = ++count;
  if (turn != 0 && n == turn) {
    turn = 0;
    std::exchange(in_turn, nullptr)();
  }
  if (armed == Mode::kill && n == target) ::kill(::getpid(), SIGKILL);
  if (armed == Mode::full && n >= target && takes_space) {
    errno = ENOSPC;
    return true;
  }
  return false;
}

bool refuses(const char* path) {
  const char* slash = std::strrchr(path, '/');
  const bool refused =
      !disk.refused.empty() &&
      std::string(slash == nullptr ? path : slash).find_first_of(disk.refused) != std::string::npos;
  if (refused) errno = EINVAL;
  return refused;
}

struct FromEnvironment {
  FromEnvironment() {
    const char* kind = std::getenv("FAULT_DISK");
    if (kind != nullptr) disk.plain = std::strcmp(kind, "plain") == 0;
    const char* at = std::getenv("FAULT_AT");
    const char* mode = std::getenv("FAULT_MODE");
    if (at != nullptr && mode != nullptr) {
      arm(std::strcmp(mode, "kill") == 0 ? Mode::kill : Mode::full, std::strtol(at, nullptr, 10));
    }
  }
  ~FromEnvironment() {
    const char* file = std::getenv("FAULT_COUNT");
    if (file == nullptr) return;
    const long n = count;
    if (FILE* out = std::fopen(file, "w")) {
      std::fprintf(out, "%ld\n", n);
      std::fclose(out);
    }
  }
} from_environment;

}  // namespace

void arm(Mode mode, long at) {
  count = 0;
  target = at;
  armed = mode;
}
void disarm() {
  armed = Mode::none;
  turn = 0;
}
void at_call(long n, std::function<void()> work) {
  count = 0;
  in_turn = std::move(work);
  turn = n;
}
void set_disk(const Disk& given) {
  disk = given;
}
long calls() {
  return count;
}
void record(bool on) {
  if (on) log_of_calls().clear();
  recording = on;
}
std::vector<Call> recorded() {
  return log_of_calls();
}

}  // namespace faults

using faults::step;

extern "C" {

ssize_t write(int fd, const void* bytes, size_t n) {
  if (faults::is_file(fd) && step("write", faults::path_of(fd), true)) return -1;
  return ::syscall(SYS_write, fd, bytes, n);
}

ssize_t pwrite64(int fd, const void* bytes, size_t n, off64_t at) {
  if (step("write", faults::path_of(fd), true)) return -1;
  return ::syscall(SYS_pwrite64, fd, bytes, n, at);
}

ssize_t pwrite(int fd, const void* bytes, size_t n, off_t at) {
  return pwrite64(fd, bytes, n, at);
}

int fsync(int fd) {
  if (step("sync", faults::path_of(fd), false)) return -1;
  return static_cast<int>(::syscall(SYS_fsync, fd));
}

int fdatasync(int fd) {
  if (step("sync", faults::path_of(fd), false)) return -1;
  return static_cast<int>(::syscall(SYS_fdatasync, fd));
}

int fchmod(int fd, mode_t mode) {
  if (step("chmod", faults::path_of(fd), false)) return -1;
  return static_cast<int>(::syscall(SYS_fchmod, fd, mode));
}

int ftruncate64(int fd, off64_t size) {
  if (step("truncate", faults::path_of(fd), true)) return -1;
  return static_cast<int>(::syscall(SYS_ftruncate, fd, size));
}

int ftruncate(int fd, off_t size) {
  return ftruncate64(fd, size);
}

int mkdir(const char* path, mode_t mode) {
  if (step("mkdir", path, true) || faults::refuses(path)) return -1;
  return static_cast<int>(::syscall(SYS_mkdir, path, mode));
}

int rename(const char* from, const char* to) {
  if (step("rename", to, false) || faults::refuses(to)) return -1;
  return static_cast<int>(::syscall(SYS_rename, from, to));
}

int renameat2(int from_dir, const char* from, int to_dir, const char* to, unsigned int flags) {
  if (step("rename", to, false) || faults::refuses(to)) return -1;
  if (faults::disk.plain && flags != 0) {
    errno = EINVAL;
    return -1;
  }
  return static_cast<int>(::syscall(SYS_renameat2, from_dir, from, to_dir, to, flags));
}

int link(const char* from, const char* to) {
  if (step("link", to, true)) return -1;
  if (faults::disk.plain) {
    errno = EPERM;
    return -1;
  }
  return static_cast<int>(::syscall(SYS_link, from, to));
}

int unlink(const char* path) {
  if (step("unlink", path, false)) return -1;
  return static_cast<int>(::syscall(SYS_unlink, path));
}

int rmdir(const char* path) {
  if (step("rmdir", path, false)) return -1;
  return static_cast<int>(::syscall(SYS_rmdir, path));
}

int unlinkat(int dir, const char* path, int flags) {
  if (step("unlink", path, false)) return -1;
  return static_cast<int>(::syscall(SYS_unlinkat, dir, path, flags));
}

int open(const char* path, int flags, ...) {
  mode_t mode = 0;
  if ((flags & (O_CREAT | O_TMPFILE)) != 0) {
    va_list arguments;
    va_start(arguments, flags);
    mode = va_arg(arguments, mode_t);
    va_end(arguments);
  }
  if ((flags & O_CREAT) != 0 && (step("create", path, true) || faults::refuses(path))) return -1;
  return static_cast<int>(::syscall(SYS_openat, AT_FDCWD, path, flags, mode));
}

int open64(const char* path, int flags, ...) {
  mode_t mode = 0;
  if ((flags & (O_CREAT | O_TMPFILE)) != 0) {
    va_list arguments;
    va_start(arguments, flags);
    mode = va_arg(arguments, mode_t);
    va_end(arguments);
  }
  if ((flags & O_CREAT) != 0 && (step("create", path, true) || faults::refuses(path))) return -1;
  return static_cast<int>(::syscall(SYS_openat, AT_FDCWD, path, flags, mode));
}

}  // extern "C"
