#include "core/files.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>

#include "core/errors.h"
#include "core/output_file.h"
#include "core/place.h"
#include "core/temporary.h"

namespace fs = std::filesystem;

namespace interstice::core {

std::string read_file(const fs::path& path, std::uintmax_t max_bytes) {
  std::error_code ec;
  const fs::file_status status = fs::status(path, ec);
  if (!fs::exists(status)) throw InputError(path.string(), "no such file");
  if (fs::is_directory(status)) throw InputError(path.string(), "is a folder, a file is needed");
  // A pipe that nobody writes to would be waited for without end, a device may never end.
  if (!fs::is_regular_file(status))
    throw InputError(path.string(), "is a pipe or a device, a file is needed");
  const std::uintmax_t size = fs::file_size(path, ec);
  if (!ec && size > max_bytes) {
    throw InputError(path.string(), "is larger than the limit of " + std::to_string(max_bytes >> 20) + " MB");
  }
  std::ifstream in(path, std::ios::binary);
  if (!in) throw InputError(path.string(), std::string("cannot be opened: ") + std::strerror(errno));
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

void write_all(int fd, std::string_view bytes, const fs::path& path) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) throw InputError(shown(path).string(), "cannot be written: " + system_words(errno));
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
  // Pipes and some devices have no disk behind them.
  if (::fsync(fd) != 0 && errno != EINVAL && errno != EROFS)
    throw InputError(shown(path).string(), "cannot be written: " + system_words(errno));
}

void write_new_file(const fs::path& path, std::string_view bytes) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (fd < 0) throw InputError(shown(path).string(), "cannot be written: " + system_words(errno));
  try {
    write_all(fd, bytes, path);
  } catch (...) {
    ::close(fd);
    throw;
  }
  if (::close(fd) != 0) throw InputError(shown(path).string(), "cannot be written: " + system_words(errno));
}

void write_file_atomically(const fs::path& path, std::string_view bytes) {
  OutputFile(path, FileKind::any()).write(bytes);
}

}  // namespace interstice::core
