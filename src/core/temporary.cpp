#include "core/temporary.h"

#include <fmt/core.h>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <mutex>
#include <set>

#include "core/errors.h"
#include "core/file_kind.h"
#include "core/files.h"
#include "core/place.h"
#include "core/result_list.h"
#include "core/sha256.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

constexpr const char* kFront = ".interstice-";
constexpr std::size_t kDigits = 8;

std::mutex& unfinished_mutex() {
  static std::mutex mutex;
  return mutex;
}
// The hidden folders that this process has in use.
std::set<fs::path>& unfinished() {
  static std::set<fs::path> paths;
  return paths;
}

// What tells this computer from another that writes to the same disk.
const std::string& this_computer() {
  static const std::string name = [] {
    std::string id;
    std::ifstream("/etc/machine-id") >> id;
    std::array<char, 256> host{};
    ::gethostname(host.data(), host.size() - 1);
    return id + " " + host.data();
  }();
  return name;
}

std::string check_digits(const std::string& chance) {
  return sha256_of("interstice " + chance + " " + this_computer()).substr(0, kDigits);
}

std::string temporary_name() {
  std::uint32_t number = 0;
  if (::getrandom(&number, sizeof number, 0) != sizeof number)
    number = static_cast<std::uint32_t>(::getpid());
  const std::string chance = fmt::format("{:0{}x}", number, kDigits);
  return kFront + chance + "-" + check_digits(chance);
}

// An open descriptor of a real folder, locked; -1 when somebody is at work there or it is none.
int lock_folder(const fs::path& folder, bool& locks_work) {
  locks_work = true;
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
  if (fd < 0) return -1;
  if (::flock(fd, LOCK_EX | LOCK_NB) != 0) {
    locks_work = errno == EWOULDBLOCK;
    if (!locks_work) return fd;
    ::close(fd);
    return -1;
  }
  // Somebody may have cleared it away between the two calls.
  struct stat held {
  }, named{};
  if (::fstat(fd, &held) != 0 || ::lstat(folder.c_str(), &named) != 0 || held.st_ino != named.st_ino ||
      held.st_dev != named.st_dev) {
    ::close(fd);
    return -1;
  }
  return fd;
}

// The only entry of a folder; empty if there is none or more.
std::string only_entry(const fs::path& folder) {
  std::error_code ec;
  std::string name;
  for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
    if (!name.empty()) return "";
    name = it->path().filename().string();
  }
  return name;
}

void clear(const fs::path& folder, const fs::path& holder) {
  std::error_code ec;
  if (fs::exists(fs::symlink_status(holder / "kept", ec))) return;
  for (const char* state : {"aside", "changing"}) {
    const std::string name = only_entry(holder / state);
    if (name.empty()) continue;
    const fs::path left = holder / state / name;
    // Killed before the new result took the place of the one set aside: that one gets its name back.
    if (std::strcmp(state, "aside") == 0 && rename_to_new_name(left, folder / name)) continue;
    if (remove_if_ours(left) || rename_to_new_name(left, folder / name)) continue;
    rename_beside(left, folder / name, "-earlier");
  }
  fs::remove_all(holder / "new", ec);
  for (const char* state : {"aside", "changing", ""}) ::rmdir((holder / state).c_str());
}

}  // namespace

bool is_temporary_name(const std::string& name) {
  const std::string front = kFront;
  if (name.size() != front.size() + 2 * kDigits + 1 || !name.starts_with(front)) return false;
  const std::string chance = name.substr(front.size(), kDigits);
  if (chance.find_first_not_of("0123456789abcdef") != std::string::npos) return false;
  return name.substr(front.size() + kDigits) == "-" + check_digits(chance);
}

fs::path shown(const fs::path& path) {
  fs::path out;
  for (auto part = path.begin(); part != path.end(); ++part) {
    if (is_temporary_name(part->string())) {
      if (++part == path.end()) break;  // new/ and the like go with it
    } else {
      out /= *part;
    }
  }
  return out;
}

void clear_leftovers(const fs::path& folder) {
  std::error_code ec;
  std::set<fs::path> left;
  for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
    if (is_temporary_name(it->path().filename().string())) left.insert(it->path());
  }
  for (const fs::path& holder : left) {
    bool locks_work = false;
    const int lock = lock_folder(holder, locks_work);
    if (lock >= 0 && locks_work) clear(folder, holder);
    if (lock >= 0) ::close(lock);
  }
}

bool remove_if_ours(const fs::path& path) {
  struct stat status {};
  if (::lstat(path.c_str(), &status) != 0) return errno == ENOENT;
  if (S_ISDIR(status.st_mode)) return remove_listed(path);
  if (!S_ISREG(status.st_mode)) return false;
  try {
    return is_ours(read_file(path)) && ::unlink(path.c_str()) == 0;
  } catch (const InputError&) {
    return false;
  }
}

Temporary::Temporary(const fs::path& folder, std::string name) : name_(std::move(name)) {
  clear_leftovers(folder);
  const NoStop hold;
  for (int attempt = 0; lock_ < 0; ++attempt) {
    holder_ = folder / temporary_name();
    if (::mkdir(holder_.c_str(), 0700) != 0) {
      if (errno == EEXIST && attempt < 100) continue;
      throw InputError((folder / name_).string(), "cannot be made: " + system_words(errno));
    }
    bool locks_work = false;
    lock_ = lock_folder(holder_, locks_work);
  }
  if (::mkdir((holder_ / "new").c_str(), 0700) != 0 && errno != EEXIST) {
    const std::string why = system_words(errno);
    ::rmdir(holder_.c_str());
    ::close(lock_);
    throw InputError((folder / name_).string(), "cannot be made: " + why);
  }
  unfinished().insert(holder_);
}

Temporary::~Temporary() {
  const NoStop hold;
  std::error_code ec;
  fs::remove_all(holder_ / "new", ec);
  for (const char* state : {"aside", "changing", ""}) ::rmdir((holder_ / state).c_str());
  unfinished().erase(holder_);
  ::close(lock_);
}

void Temporary::begin_change() {
  if (::rename((holder_ / "new").c_str(), (holder_ / "changing").c_str()) != 0)
    throw InputError(holder_.string(), "cannot be written: " + system_words(errno));
}

void Temporary::make_aside() {
  if (::mkdir((holder_ / "aside").c_str(), 0700) != 0)
    throw InputError(holder_.string(), "cannot be written: " + system_words(errno));
}

fs::path Temporary::keep() {
  for (const char* state : {"changing", "new"}) {
    std::error_code ec;
    if (!fs::exists(fs::symlink_status(holder_ / state / name_, ec))) continue;
    const char* to = ::rename((holder_ / state).c_str(), (holder_ / "kept").c_str()) == 0 ? "kept" : state;
    return holder_ / to / name_;
  }
  return holder_;
}

NoStop::NoStop() {
  unfinished_mutex().lock();
}
NoStop::~NoStop() {
  unfinished_mutex().unlock();
}

void remove_unfinished() {
  const NoStop hold;
  std::error_code ec;
  // Other threads may still be writing into a folder that is being removed: once more, then.
  for (int round = 0; round < 3; ++round) {
    for (const fs::path& holder : unfinished()) {
      fs::remove_all(holder / "new", ec);
      ::rmdir(holder.c_str());
    }
  }
}

}  // namespace interstice::core
