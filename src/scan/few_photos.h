// What to say first where there are too few photos for anything else to be found.
#pragma once

#include <cstddef>
#include <string>

namespace interstice::scan {

// Fewer do not show a form from all round (common practice, no source).
inline constexpr std::size_t kFewestPhotos = 8;

// "only 5 photos show cards that connect; take at least 8 ..."
std::string few_photos(std::size_t photos);

// The message for what was not found, or, with fewer photos than are asked for, that there are too few.
std::string few_photos_or(std::size_t photos, const std::string& message);

}  // namespace interstice::scan
