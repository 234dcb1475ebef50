// Whose a file named index.sqlite is, told from its first bytes alone (the SQLite database file format,
// section 1.3): opening a database for writing would change it.
#pragma once

#include <filesystem>

namespace interstice::archive {

enum class IndexFile {
  none,     // nothing there, or nothing in it
  ours,     // marked by its application id, or new and without tables
  foreign,  // somebody's database
  unknown,  // no database (any more)
};

inline constexpr int kIndexApplicationId = 0x49535443;

IndexFile whose_index(const std::filesystem::path& file);

}  // namespace interstice::archive
