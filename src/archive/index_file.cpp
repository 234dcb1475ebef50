#include "archive/index_file.h"

#include <array>
#include <cstdint>
#include <fstream>
#include <string_view>

namespace fs = std::filesystem;

namespace interstice::archive {

IndexFile whose_index(const fs::path& file) {
  std::error_code ec;
  if (!fs::is_regular_file(fs::symlink_status(file, ec))) return IndexFile::none;
  const std::uintmax_t size = fs::file_size(file, ec);
  if (ec || size == 0) return IndexFile::none;
  std::array<char, 100> header{};
  std::ifstream in(file, std::ios::binary);
  if (!in.read(header.data(), header.size()) ||
      std::string_view(header.data(), 16) != std::string_view("SQLite format 3\0", 16)) {
    return IndexFile::unknown;
  }
  const auto byte = [&](std::size_t at) {
    return static_cast<std::uint32_t>(static_cast<unsigned char>(header[at]));
  };
  const std::uint32_t page = byte(16) << 8 | byte(17);  // 1 stands for 65536
  const std::uint32_t application = byte(68) << 24 | byte(69) << 16 | byte(70) << 8 | byte(71);
  if (application == static_cast<std::uint32_t>(kIndexApplicationId)) return IndexFile::ours;
  // Every table has a page of its own beside the first.
  const bool no_tables = application == 0 && size <= (page == 1 ? 65536u : page);
  return no_tables ? IndexFile::ours : IndexFile::foreign;
}

}  // namespace interstice::archive
