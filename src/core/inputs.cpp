#include "core/inputs.h"

#include <algorithm>

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

// Somebody may name a folder of very many files; then the first must do.
constexpr int kMostEntries = 20000;

}  // namespace

Inputs::Inputs(std::initializer_list<fs::path> paths) {
  for (const fs::path& path : paths) add(path);
}

void Inputs::remember(const fs::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) == 0) known_.try_emplace({status.st_dev, status.st_ino}, path);
}

void Inputs::add(const fs::path& path) {
  std::error_code ec;
  if (path.empty() || !fs::exists(path, ec)) return;
  const fs::path real = fs::canonical(path, ec);
  if (ec) return;
  given_.emplace_back(path, real);
  remember(real);
  if (!fs::is_directory(real, ec)) return;
  int entries = 0;
  for (fs::directory_iterator it(real, ec), end; !ec && it != end && ++entries <= kMostEntries;
       it.increment(ec)) {
    // What stands in folders within it is not read; an earlier result may be there.
    if (!fs::is_directory(it->path(), ec)) remember(it->path());
  }
}

std::optional<fs::path> Inputs::same_as(const struct stat& status) const {
  const auto found = known_.find({status.st_dev, status.st_ino});
  return found == known_.end() ? std::nullopt : std::optional(found->second);
}

std::optional<fs::path> Inputs::inside(const fs::path& folder) const {
  for (const auto& [named, real] : given_) {
    if (std::mismatch(folder.begin(), folder.end(), real.begin(), real.end()).first == folder.end())
      return real;
  }
  return std::nullopt;
}

}  // namespace interstice::core
