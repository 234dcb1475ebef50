// Handing an entry on: a bag of its own outside the archive.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "archive/archive.h"

namespace interstice::archive {

struct ExportRequest {
  bool keep_location = false;  // photos and scan.json go out as they are kept
  bool without_photos = false;
};

struct Exported {
  std::size_t files = 0;
  std::uintmax_t bytes = 0;
  std::vector<std::string> cleaned;   // pictures that are now nothing but the picture, see location.h
  std::vector<std::string> left_out;  // files that are neither pictures nor results of this program
};

// Writes a valid bag to a folder that must not exist yet. The entry is verified first; a damaged one is
// refused, and so are photos that cannot be cleaned, by name. Throws InputError and leaves nothing behind.
Exported export_entry(const Archive& archive, const std::string& id, const std::filesystem::path& to,
                      const ExportRequest& request, int threads);

}  // namespace interstice::archive
