#include "core/output_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>

#include "core/errors.h"
#include "core/files.h"
#include "core/place.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

// The number of an open descriptor that a path stands for (/dev/stdout); -1 for other paths.
int descriptor_of(const fs::path& path) {
  const std::string text = path.string();
  if (text == "/dev/stdout") return STDOUT_FILENO;
  if (text == "/dev/stderr") return STDERR_FILENO;
  for (const std::string& front : {std::string("/dev/fd/"), std::string("/proc/self/fd/"),
                                   "/proc/" + std::to_string(::getpid()) + "/fd/"}) {
    if (!text.starts_with(front)) continue;
    int number = -1;
    const auto [end, error] = std::from_chars(text.data() + front.size(), text.data() + text.size(), number);
    if (error == std::errc() && end == text.data() + text.size()) return number;
  }
  return -1;
}

// The place a chain of links ends at, whether or not anything stands there yet; a descriptor's path is left
// as it is.
fs::path behind_links(fs::path path) {
  std::error_code ec;
  for (int links = 0; descriptor_of(path) < 0 && fs::is_symlink(fs::symlink_status(path, ec)); ++links) {
    if (links == 40) throw InputError(path.string(), "cannot be written: its links lead nowhere");
    const fs::path to = fs::read_symlink(path, ec);
    if (ec) throw InputError(path.string(), "cannot be written: " + ec.message());
    path = to.is_absolute() ? to : path.parent_path() / to;
  }
  return path;
}

void write_to(int fd, std::string_view bytes, const fs::path& path) {
  try {
    write_all(fd, bytes, path);
  } catch (...) {
    ::close(fd);
    throw;
  }
  if (::close(fd) != 0) throw InputError(path.string(), "cannot be written: " + system_words(errno));
}

}  // namespace

OutputFile::~OutputFile() = default;
OutputFile::OutputFile(OutputFile&&) noexcept = default;

OutputFile::OutputFile(const fs::path& name, FileKind kind, Inputs inputs)
    : name_(name), kind_(std::move(kind)), inputs_(std::move(inputs)) {
  std::error_code ec;
  if (fs::is_directory(name_, ec)) throw InputError(name_.string(), "is a folder; name a file to write");
  if (name_.filename().empty() || name_.filename() == "..")
    throw InputError(name_.string(), "is no file's name; name a file to write");
  path_ = behind_links(name_);
  descriptor_ = descriptor_of(path_);
  struct stat status {};
  const bool there =
      descriptor_ >= 0 ? ::fstat(descriptor_, &status) == 0 : ::stat(path_.c_str(), &status) == 0;
  if (there && S_ISBLK(status.st_mode)) throw InputError(name_.string(), "is a disk; name a file to write");
  direct_ = descriptor_ >= 0 || (there && !S_ISREG(status.st_mode));
  if (direct_) return;
  path_ = fs::absolute(path_);
  if (!fs::is_directory(path_.parent_path(), ec))
    throw InputError(name_.string(), "cannot be written: there is no folder " + name_.parent_path().string());
  if (there) {
    if (const auto why = must_stay(path_)) throw InputError(name_.string(), *why);
  }
  temporary_ = std::make_unique<Temporary>(path_.parent_path(), path_.filename().string());
  fill("");  // a name that this disk does not take is found now
}

std::optional<std::string> OutputFile::must_stay(const fs::path& path) const {
  struct stat status {};
  if (::lstat(path.c_str(), &status) != 0) return std::nullopt;
  if (S_ISDIR(status.st_mode)) return "is a folder; name a file to write";
  if (!S_ISREG(status.st_mode)) return "is no regular file";
  if (const auto input = inputs_.same_as(status))
    return "is read by this run" +
           (input->filename() == name_.filename() ? "" : " (" + input->string() + ")") +
           "; name another file to write";
  if ((status.st_mode & 0222) == 0) return "is write-protected; name another file to write";
  std::string content;
  try {
    content = read_file(path, 1u << 30);
  } catch (const InputError&) {
    return "cannot be read, so it may be somebody's own; name another file to write";
  }
  if (kind_.may_replace(content)) return std::nullopt;
  const std::string what = what_it_is(content);
  if (what == kind_.words())
    return "is " + what +
           " that interstice did not write, or that was changed since; name another file to write";
  return "is " + what + ", not an earlier result of this command; name another file to write";
}

void OutputFile::fill(std::string_view bytes) const {
  const fs::path fresh = temporary_->fresh();
  const int fd = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (fd < 0) throw InputError(name_.string(), "cannot be written: " + system_words(errno));
  struct stat earlier {};
  if (::lstat(path_.c_str(), &earlier) == 0 && S_ISREG(earlier.st_mode)) {
    // Whose it is and who may read it stays as it was; a disk without owners or permissions has none to keep.
    [[maybe_unused]] const int owner = ::fchown(fd, earlier.st_uid, earlier.st_gid);
    [[maybe_unused]] const int mode = ::fchmod(fd, earlier.st_mode & 07777);
  }
  write_to(fd, bytes, name_);
}

void OutputFile::write(std::string_view bytes) {
  const std::string sealed = kind_.sealed(bytes);
  if (descriptor_ >= 0) return write_all(descriptor_, sealed, name_);
  if (direct_) {
    const int fd = ::open(path_.c_str(), O_WRONLY | O_CLOEXEC | O_NOCTTY);
    if (fd < 0) throw InputError(name_.string(), "cannot be written: " + system_words(errno));
    return write_to(fd, sealed, name_);
  }
  fill(sealed);
  put_in_place(*temporary_, path_, [this](const fs::path& path) { return must_stay(path); });
  temporary_.reset();
}

}  // namespace interstice::core
