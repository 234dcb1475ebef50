// The files and folders a run reads, so that no result takes the place of one.
#pragma once

#include <sys/stat.h>

#include <filesystem>
#include <initializer_list>
#include <map>
#include <optional>
#include <utility>
#include <vector>

namespace interstice::core {

class Inputs {
 public:
  Inputs() = default;
  Inputs(std::initializer_list<std::filesystem::path> paths);

  // A file, or a folder with the files in it. Empty paths (options not given) and what is not there are
  // passed over: whoever reads them says so.
  void add(const std::filesystem::path& path);

  // The input that is this very file or folder, under whatever name or link it goes.
  std::optional<std::filesystem::path> same_as(const struct stat& status) const;
  // An input that stands in `folder` (an absolute path without links), or is it.
  std::optional<std::filesystem::path> inside(const std::filesystem::path& folder) const;

 private:
  void remember(const std::filesystem::path& path);

  std::map<std::pair<dev_t, ino_t>, std::filesystem::path> known_;
  std::vector<std::pair<std::filesystem::path, std::filesystem::path>> given_;  // as named, without links
};

}  // namespace interstice::core
