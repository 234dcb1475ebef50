#include "bench/folder.h"

#include <fmt/core.h>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "archive/names.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr std::size_t kMostBowls = 1000, kMostScans = 500, kMostNameBytes = 120;
constexpr const char* kFormat = "interstice-bench";

void check_is_bench(const fs::path& root) {
  std::error_code ec;
  if (fs::exists(root / "bench.json", ec)) {
    const nlohmann::json document = core::read_json(root / "bench.json", 1 << 16);
    const core::JsonNode node(document, (root / "bench.json").string());
    if (node.at("format").text() != kFormat) node.fail("is not a bench's");
    return;
  }
  const fs::path first =
      fs::is_empty(root, ec) ? fs::path() : fs::directory_iterator(root, ec)->path().filename();
  if (!first.empty()) {
    throw core::InputError(root.string(), "holds other things (" + core::one_line(first.string(), 60) +
                                              "); name a new or empty folder for the bench");
  }
  core::write_new_file(root / "bench.json", "{\"format\": \"interstice-bench\", \"version\": 1}\n");
}

// A name for a folder that nothing has yet.
fs::path fresh_folder(const fs::path& in, const std::string& name) {
  std::string key = archive::slug(name).substr(0, 40);
  while (!key.empty() && key.back() == '-') key.pop_back();
  for (int n = 1; n < 1000; ++n) {
    const fs::path path = in / (n == 1 ? key : key + "-" + std::to_string(n));
    std::error_code ec;
    if (fs::create_directory(path, ec)) return path;
    if (ec) throw core::InputError(path.string(), "cannot be made: " + ec.message());
  }
  throw core::InputError(name, "this name is taken too often; choose another");
}

std::vector<std::string> folders_in(const fs::path& path) {
  std::vector<std::string> names;
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::directory_iterator(path, ec)) {
    std::error_code no_status;
    const bool folder = entry.symlink_status(no_status).type() == fs::file_type::directory;
    if (folder && is_folder_name(entry.path().filename().string()))
      names.push_back(entry.path().filename().string());
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::string written(const Bowl& bowl) {
  nlohmann::ordered_json document = {{"format", "interstice-bowl"}, {"version", 1}, {"name", bowl.name}};
  if (!bowl.lens.empty()) document["lens"] = bowl.lens;
  if (bowl.check_line_mm) document["check_line_mm"] = *bowl.check_line_mm;
  return document.dump(2) + "\n";
}

// What stands in a document that somebody may have edited; a damaged one must not hide the bowl.
Bowl read_bowl(const fs::path& path, const std::string& key) {
  Bowl bowl{key, key, "", std::nullopt};
  try {
    const nlohmann::json document = core::read_json(path / "bowl.json", 1 << 16);
    const core::JsonNode node(document, (path / "bowl.json").string());
    bowl.name = node.at("name").text();
    if (node.has("lens") && is_photo_name(node.at("lens").text())) bowl.lens = node.at("lens").text();
    if (node.has("check_line_mm")) bowl.check_line_mm = node.at("check_line_mm").number(100, 200);
  } catch (const core::InputError&) {
  }
  return bowl;
}

}  // namespace

const char* name_of(ScanKind kind) {
  switch (kind) {
    case ScanKind::ring:
      return "ring";
    case ScanKind::poured:
      return "poured";
    case ScanKind::drawn:
      return "drawn";
    case ScanKind::form:
      return "form";
    case ScanKind::lens:
      break;
  }
  return "lens";
}

std::optional<ScanKind> scan_kind(const std::string& name) {
  for (const ScanKind kind :
       {ScanKind::ring, ScanKind::poured, ScanKind::drawn, ScanKind::form, ScanKind::lens}) {
    if (name == name_of(kind)) return kind;
  }
  return std::nullopt;
}

bool is_folder_name(const std::string& text) {
  if (text.empty() || text.size() > 48 || text[0] == '-') return false;
  return text.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") == std::string::npos;
}

bool is_photo_name(const std::string& text) {
  if (text.empty() || text.size() > 120 || text[0] == '.' || text[0] == '-') return false;
  return std::all_of(text.begin(), text.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '_' || c == '-' || c == '.';
  });
}

Folder::Folder(const fs::path& root) : root_(fs::absolute(root).lexically_normal()) {
  if (root_.filename().empty()) root_ = root_.parent_path();
  std::error_code ec;
  fs::create_directories(root_, ec);
  if (!fs::is_directory(root_))
    throw core::InputError(root.string(), ec ? "cannot be made: " + ec.message() : "is no folder");
  check_is_bench(root_);
  for (const char* name : {".bench", ".bench/uploads", ".bench/jobs", "bowls", "lenses"}) {
    fs::create_directory(root_ / name, ec);
    if (ec) throw core::InputError((root_ / name).string(), "cannot be made: " + ec.message());
  }
  lock_ = ::open((own() / "lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (lock_ < 0 || ::flock(lock_, LOCK_EX | LOCK_NB) != 0) {
    const bool taken = lock_ >= 0 && errno == EWOULDBLOCK;
    const std::string why =
        taken ? "another bench is open on this folder; use that one, or stop it first" : std::strerror(errno);
    if (lock_ >= 0) ::close(lock_);
    throw core::InputError(root_.string(), why);
  }
  root_descriptor_ = ::open(root_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

Folder::~Folder() {
  ::close(root_descriptor_);
  ::close(lock_);
}

fs::path Folder::bowl_path(const std::string& bowl) const {
  return root_ / "bowls" / bowl;
}

fs::path Folder::scan_path(const std::string& bowl, const std::string& scan) const {
  return bowl_path(bowl) / "scans" / scan;
}

std::vector<Bowl> Folder::bowls() const {
  std::vector<Bowl> bowls;
  for (const std::string& key : folders_in(root_ / "bowls")) bowls.push_back(read_bowl(bowl_path(key), key));
  std::stable_sort(bowls.begin(), bowls.end(), [](const Bowl& a, const Bowl& b) { return a.name < b.name; });
  return bowls;
}

std::optional<Bowl> Folder::bowl(const std::string& key) const {
  std::error_code ec;
  if (!is_folder_name(key) || fs::symlink_status(bowl_path(key), ec).type() != fs::file_type::directory)
    return std::nullopt;
  return read_bowl(bowl_path(key), key);
}

std::vector<ScanOfBowl> Folder::scans(const std::string& bowl) const {
  std::vector<ScanOfBowl> scans;
  for (const std::string& key : folders_in(bowl_path(bowl) / "scans")) {
    if (auto one = scan(bowl, key)) scans.push_back(*one);
  }
  return scans;
}

std::optional<ScanOfBowl> Folder::scan(const std::string& bowl, const std::string& key) const {
  std::error_code ec;
  if (!is_folder_name(bowl) || !is_folder_name(key)) return std::nullopt;
  const fs::path path = scan_path(bowl, key);
  if (fs::symlink_status(path, ec).type() != fs::file_type::directory) return std::nullopt;
  ScanOfBowl scan{bowl, key, key, ScanKind::ring};
  try {
    const nlohmann::json document = core::read_json(path / "scan.json", 1 << 16);
    const core::JsonNode node(document, (path / "scan.json").string());
    scan.name = node.at("name").text();
    scan.kind = scan_kind(node.at("kind").text()).value_or(ScanKind::ring);
  } catch (const core::InputError&) {
  }
  return scan;
}

Bowl Folder::add_bowl(const std::string& name, const std::string& plan_json) {
  const std::string checked = core::checked_name(name, "name of the bowl", kMostNameBytes);
  const std::lock_guard<std::mutex> lock(adding_);
  if (folders_in(root_ / "bowls").size() >= kMostBowls)
    throw core::InputError("no more than " + std::to_string(kMostBowls) + " bowls fit into one folder");
  const fs::path path = fresh_folder(root_ / "bowls", checked);
  Bowl bowl{path.filename().string(), checked, "", std::nullopt};
  fs::create_directory(path / "scans");
  if (!plan_json.empty()) core::write_new_file(path / "plan.json", plan_json);
  core::write_new_file(path / "bowl.json", written(bowl));
  return bowl;
}

ScanOfBowl Folder::add_scan(const std::string& bowl, const std::string& name, ScanKind kind) {
  const std::string checked = core::checked_name(name, "name of the scan", kMostNameBytes);
  const std::lock_guard<std::mutex> lock(adding_);
  const std::size_t count = folders_in(bowl_path(bowl) / "scans").size();
  if (count >= kMostScans)
    throw core::InputError("no more than " + std::to_string(kMostScans) + " scans fit into one bowl");
  // Numbered, so that they sort as they were begun.
  const fs::path path = fresh_folder(bowl_path(bowl) / "scans", fmt::format("{:03}-", count + 1) + checked);
  for (const char* folder : {"photos", "set-aside", "checks"}) fs::create_directory(path / folder);
  const nlohmann::ordered_json document = {
      {"format", "interstice-bench-scan"}, {"version", 1}, {"name", checked}, {"kind", name_of(kind)}};
  core::write_new_file(path / "scan.json", document.dump(2) + "\n");
  return {bowl, path.filename().string(), checked, kind};
}

void Folder::change_bowl(const Bowl& bowl) {
  core::write_file_atomically(bowl_path(bowl.key) / "bowl.json", written(bowl));
}

std::string Folder::add_lens(const std::string& name, const std::string& lens_json) {
  const std::string checked = core::checked_name(name, "name of the phone", kMostNameBytes);
  const std::lock_guard<std::mutex> lock(adding_);
  for (int n = 1; n < 100; ++n) {
    const std::string file = archive::slug(checked) + (n == 1 ? "" : "-" + std::to_string(n)) + ".lens.json";
    std::error_code ec;
    if (fs::exists(root_ / "lenses" / file, ec)) continue;
    core::write_new_file(root_ / "lenses" / file, lens_json);
    return file;
  }
  throw core::InputError(checked, "this name is taken too often; choose another");
}

std::vector<std::string> Folder::lenses() const {
  std::vector<std::string> names = files_in(root_ / "lenses");
  std::erase_if(names, [](const std::string& n) { return !n.ends_with(".lens.json") || !is_photo_name(n); });
  return names;
}

OpenFile Folder::open(const std::vector<std::string>& parts) const {
  const bool leads_out = std::any_of(parts.begin(), parts.end(), [](const std::string& part) {
    return part.empty() || part == "." || part == ".." || part.find('/') != std::string::npos;
  });
  if (leads_out) return OpenFile();
  OpenFile at(::fcntl(root_descriptor_, F_DUPFD_CLOEXEC, 0));
  for (std::size_t i = 0; i < parts.size() && at; ++i) {
    const bool last = i + 1 == parts.size();
    // Non-blocking: a pipe without a writer would be waited for without end.
    const int flags = O_RDONLY | O_CLOEXEC | O_NOFOLLOW | (last ? O_NONBLOCK : O_DIRECTORY);
    at = OpenFile(::openat(at.get(), parts[i].c_str(), flags));
  }
  struct stat status {};
  if (!at || ::fstat(at.get(), &status) != 0 || !S_ISREG(status.st_mode)) return OpenFile();
  return at;
}

std::optional<std::string> Folder::read(const std::vector<std::string>& parts, std::size_t most_bytes) const {
  const OpenFile file = open(parts);
  if (!file) return std::nullopt;
  std::string bytes;
  char block[1 << 16];
  for (;;) {
    const ssize_t n = ::read(file.get(), block, sizeof block);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0 || bytes.size() > most_bytes) return std::nullopt;
    if (n == 0) return bytes;
    bytes.append(block, static_cast<std::size_t>(n));
  }
}

std::vector<std::string> Folder::files_in(const fs::path& folder) const {
  std::vector<std::string> names;
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, ec)) {
    const std::string name = entry.path().filename().string();
    std::error_code no_status;
    if (name[0] != '.' && entry.symlink_status(no_status).type() == fs::file_type::regular)
      names.push_back(name);
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::uintmax_t Folder::free_bytes() const {
  std::error_code ec;
  const fs::space_info space = fs::space(root_, ec);
  return ec ? 0 : space.available;
}

}  // namespace interstice::bench
