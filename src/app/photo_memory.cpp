#include "app/photo_memory.h"

#include <algorithm>
#include <cstdlib>
#include <optional>
#include <string>
#include <vector>

#include "archive/digests.h"
#include "core/errors.h"
#include "core/files.h"

namespace fs = std::filesystem;

namespace interstice::app {
namespace {

constexpr std::size_t kMostKept = 1000, kNameDigits = 64;

std::optional<fs::path> memory_folder() {
  const auto absolute = [](const char* variable) {  // as the XDG base directory specification wants it
    const char* value = std::getenv(variable);
    return value != nullptr && *value == '/' ? std::optional<fs::path>(value) : std::nullopt;
  };
  if (const auto state = absolute("XDG_STATE_HOME")) return *state / "interstice" / "photos";
  if (const auto home = absolute("HOME")) return *home / ".local" / "state" / "interstice" / "photos";
  return std::nullopt;
}

std::string key_of(const fs::path& scan_folder) {
  return archive::digests_of(core::read_file(scan_folder / "scan.json")).sha256;
}

void forget_oldest(const fs::path& folder) {
  std::vector<std::pair<fs::file_time_type, fs::path>> kept;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().filename().string();
    const bool ours =
        name.size() == kNameDigits && name.find_first_not_of("0123456789abcdef") == std::string::npos;
    if (ours && fs::is_regular_file(entry.symlink_status()))
      kept.emplace_back(entry.last_write_time(), entry.path());
  }
  if (kept.size() <= kMostKept) return;
  std::sort(kept.begin(), kept.end());
  for (std::size_t i = 0; i + kMostKept < kept.size(); ++i) fs::remove(kept[i].second);
}

}  // namespace

void remember_photos(const fs::path& scan_folder, const fs::path& photos) {
  try {
    const std::optional<fs::path> folder = memory_folder();
    if (!folder) return;
    fs::create_directories(*folder);
    core::write_file_atomically(*folder / key_of(scan_folder),
                                fs::absolute(photos).lexically_normal().string());
    forget_oldest(*folder);
  } catch (const std::exception&) {
    // Nothing depends on it.
  }
}

fs::path remembered_photos(const fs::path& scan_folder) {
  try {
    const std::optional<fs::path> folder = memory_folder();
    if (!folder) return {};
    const fs::path photos = core::read_file(*folder / key_of(scan_folder), 65536);
    return photos.is_absolute() && fs::is_directory(photos) ? photos : fs::path();
  } catch (const std::exception&) {
    return {};
  }
}

}  // namespace interstice::app
