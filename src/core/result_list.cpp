#include "core/result_list.h"

#include <dirent.h>
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>

#include "core/errors.h"
#include "core/file_kind.h"
#include "core/json_reader.h"
#include "core/place.h"
#include "core/sha256.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

constexpr std::size_t kMostFiles = 100000;
constexpr std::uintmax_t kMostBytes = 1u << 30;  // of a file that is looked into

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return fd_; }

 private:
  int fd_;
};

int open_folder(int in, const std::string& name) {
  return ::openat(in, name.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

// Names in an open folder, sorted; nothing when it cannot be read.
std::optional<std::vector<std::string>> names_in(int folder) {
  const int own = ::dup(folder);
  DIR* stream = own < 0 ? nullptr : ::fdopendir(own);
  if (stream == nullptr) {
    if (own >= 0) ::close(own);
    return std::nullopt;
  }
  ::rewinddir(stream);
  std::vector<std::string> names;
  errno = 0;
  while (const dirent* entry = ::readdir(stream)) {
    const std::string name = entry->d_name;
    if (name != "." && name != "..") names.push_back(name);
  }
  const bool whole = errno == 0;
  ::closedir(stream);
  if (!whole) return std::nullopt;
  std::sort(names.begin(), names.end());
  return names;
}

struct Content {
  std::string sha256, bytes;
};

// A regular file's digest, and its bytes if `wanted`; nothing when it cannot be read to its end.
std::optional<Content> read_in(int folder, const std::string& name, bool wanted) {
  const Descriptor file(::openat(folder, name.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
  if (file.get() < 0) return std::nullopt;
  Content content;
  Sha256 digest;
  std::string block(1 << 18, '\0');
  for (;;) {
    const ssize_t n = ::read(file.get(), block.data(), block.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return std::nullopt;
    if (n == 0) break;
    digest.add({block.data(), static_cast<std::size_t>(n)});
    if (wanted) content.bytes.append(block, 0, static_cast<std::size_t>(n));
  }
  content.sha256 = digest.finish();
  return content;
}

// A file as it was written, or written again by another command of ours since (report, pour).
bool is_as_written(int folder, const std::string& name, const struct stat& status, const ListedFile& listed) {
  if (!S_ISREG(status.st_mode) || static_cast<std::uintmax_t>(status.st_size) > kMostBytes) return false;
  if (static_cast<std::uintmax_t>(status.st_size) == listed.bytes) {
    const auto content = read_in(folder, name, false);
    if (content && content->sha256 == listed.sha256) return true;
  }
  const auto content = read_in(folder, name, true);
  return content && is_ours(content->bytes);
}

// Files by path, and all folders that lead to one.
struct Known {
  std::map<std::string, ListedFile> files;
  std::set<std::string> folders;
  explicit Known(const ResultList& list) {
    for (const ListedFile& file : list.files) {
      files.emplace(file.path, file);
      for (std::size_t at = file.path.find('/'); at != std::string::npos; at = file.path.find('/', at + 1))
        folders.insert(file.path.substr(0, at));
    }
  }
};

std::optional<std::string> foreign_in(int folder, const std::string& prefix, const Known& known,
                                      const Inputs& inputs) {
  const auto names = names_in(folder);
  if (!names) return (prefix.empty() ? "" : prefix + " ") + "cannot be read";
  for (const std::string& name : *names) {
    const std::string path = prefix + name;
    if (path == kResultList) continue;
    struct stat status {};
    if (::fstatat(folder, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0)
      return one_line(path) + " cannot be read";
    if (inputs.same_as(status)) return one_line(path) + " is read by this run";
    if (S_ISDIR(status.st_mode) && known.folders.contains(path)) {
      const Descriptor below(open_folder(folder, name));
      if (below.get() < 0) return one_line(path) + " cannot be read";
      if (auto found = foreign_in(below.get(), path + "/", known, inputs)) return found;
      continue;
    }
    const auto listed = known.files.find(path);
    if (listed == known.files.end()) return one_line(path) + " was not written by it";
    if (!is_as_written(folder, name, status, listed->second))
      return one_line(path) + " was changed since it was written";
  }
  return std::nullopt;
}

bool remove_in(int folder, const std::string& prefix, const Known& known) {
  const auto names = names_in(folder);
  if (!names) return false;
  bool all = true;
  for (const std::string& name : *names) {
    const std::string path = prefix + name;
    if (path == kResultList) continue;
    struct stat status {};
    if (::fstatat(folder, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0) return false;
    if (S_ISDIR(status.st_mode) && known.folders.contains(path)) {
      const Descriptor below(open_folder(folder, name));
      const bool emptied = below.get() >= 0 && remove_in(below.get(), path + "/", known);
      all = emptied && ::unlinkat(folder, name.c_str(), AT_REMOVEDIR) == 0 && all;
      continue;
    }
    const auto listed = known.files.find(path);
    all = listed != known.files.end() && is_as_written(folder, name, status, listed->second) &&
          ::unlinkat(folder, name.c_str(), 0) == 0 && all;
  }
  return all;
}

void list_in(int folder, const std::string& prefix, const fs::path& shown, std::vector<ListedFile>& files) {
  const auto names = names_in(folder);
  if (!names) throw InputError(shown.string(), "cannot be read: " + system_words(errno));
  for (const std::string& name : *names) {
    struct stat status {};
    if (::fstatat(folder, name.c_str(), &status, AT_SYMLINK_NOFOLLOW) != 0)
      throw InputError((shown / name).string(), "cannot be read: " + system_words(errno));
    if (S_ISDIR(status.st_mode)) {
      const Descriptor below(open_folder(folder, name));
      list_in(below.get(), prefix + name + "/", shown / name, files);
      // What stands in it is on the disk before the folder takes anybody's place.
      if (::fsync(below.get()) != 0 && errno != EINVAL)
        throw InputError((shown / name).string(), "cannot be written: " + system_words(errno));
      continue;
    }
    const auto content = read_in(folder, name, false);
    if (!content) throw InputError((shown / name).string(), "cannot be read: " + system_words(errno));
    files.push_back({prefix + name, static_cast<std::uintmax_t>(status.st_size), content->sha256});
  }
}

// JSON holds UTF-8 only. A name of other bytes (from a disk of older times) is written with them as %XX, and
// so is % itself.
std::string as_text(const std::string& path) {
  const bool utf8 = nlohmann::json(path).dump(-1, ' ', false, nlohmann::json::error_handler_t::ignore) ==
                    nlohmann::json(path).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  static const char* hex = "0123456789ABCDEF";
  std::string out;
  for (const char c : path) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '%' || (!utf8 && byte >= 0x80)) {
      out += '%';
      out += hex[byte >> 4];
      out += hex[byte & 15];
    } else {
      out += c;
    }
  }
  return out;
}

std::string as_path(const std::string& text, const JsonNode& node) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      out += text[i];
      continue;
    }
    unsigned byte = 0;
    const char* end = text.data() + std::min(i + 3, text.size());
    const auto read = std::from_chars(text.data() + i + 1, end, byte, 16);
    if (read.ec != std::errc() || read.ptr != text.data() + i + 3) node.fail("has a % without two digits");
    out += static_cast<char>(byte);
    i += 2;
  }
  return out;
}

void check_path(const std::string& path, const JsonNode& node) {
  bool good = !path.empty() && path.size() <= 4096 && path.find('\0') == std::string::npos;
  for (std::size_t from = 0; good && from <= path.size();) {
    const std::size_t to = std::min(path.find('/', from), path.size());
    const std::string part = path.substr(from, to - from);
    good = !part.empty() && part != "." && part != "..";
    from = to + 1;
  }
  if (!good) node.fail("is no path within the folder");
}

}  // namespace

std::string write_result_list(const ResultList& list) {
  nlohmann::ordered_json root;
  root["format"] = "interstice-result";
  root["version"] = 1;
  root["command"] = list.command;
  root["piece"] = list.piece;
  root["files"] = nlohmann::ordered_json::array();
  for (const ListedFile& file : list.files)
    root["files"].push_back({{"path", as_text(file.path)}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  return root.dump(1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

ResultList parse_result_list(const std::string& text, const std::string& file) {
  const nlohmann::json document = parse_json(text, file);
  const JsonNode root(document, file);
  if (root.at("format").text() != "interstice-result")
    root.at("format").fail("this is not a list of results");
  if (root.at("version").number() != 1) root.at("version").fail("only version 1 is understood");
  ResultList list{root.at("command").text(), root.at("piece").text(), {}};
  const JsonNode files = root.at("files");
  if (files.size() > kMostFiles) files.fail("has more than " + std::to_string(kMostFiles) + " files");
  for (std::size_t i = 0; i < files.size(); ++i) {
    const JsonNode node = files.at(i);
    ListedFile listed;
    listed.path = as_path(node.at("path").text(3 * 4096), node.at("path"));
    check_path(listed.path, node.at("path"));
    listed.bytes = static_cast<std::uintmax_t>(node.at("bytes").number(0, 1e15));
    listed.sha256 = node.at("sha256").text();
    list.files.push_back(std::move(listed));
  }
  return list;
}

std::vector<ListedFile> files_to_list(const fs::path& folder) {
  const Descriptor open(open_folder(AT_FDCWD, folder.string()));
  if (open.get() < 0) throw InputError(folder.string(), "cannot be read: " + system_words(errno));
  std::vector<ListedFile> files;
  list_in(open.get(), "", folder, files);
  std::sort(files.begin(), files.end(),
            [](const ListedFile& a, const ListedFile& b) { return a.path < b.path; });
  return files;
}

std::optional<std::string> foreign_entry(const fs::path& folder, const ResultList& list,
                                         const Inputs& inputs) {
  const Descriptor open(open_folder(AT_FDCWD, folder.string()));
  if (open.get() < 0) return "cannot be read";
  return foreign_in(open.get(), "", Known(list), inputs);
}

bool remove_listed(const fs::path& folder) {
  const Descriptor open(open_folder(AT_FDCWD, folder.string()));
  if (open.get() < 0) return false;
  if (const auto content = read_in(open.get(), kResultList, true)) {
    try {
      const Known known(parse_result_list(content->bytes, (folder / kResultList).string()));
      if (!remove_in(open.get(), "", known)) return false;
    } catch (const InputError&) {
      return false;
    }
    if (::unlinkat(open.get(), kResultList, 0) != 0) return false;
  }
  return ::rmdir(folder.c_str()) == 0;
}

}  // namespace interstice::core
