// What one photo is worth, seen right after it was taken: the cards in it, how sharp it is, how it is
// exposed.
//
// Sharpness is measured where its truth is known: across the edges of the cards' squares. A blurred edge is
// taken for a step smoothed by a Gaussian; its standard deviation is contrast / (sqrt(2 pi) * steepest
// slope), in millimetres on the card. Two edges a smallest fill apart run into each other when their
// blurs, three standard deviations to either side, meet in the middle: at a sixth of the smallest fill. That
// is "blurred"; half of it is "soft", unless the pixels themselves are no finer.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "camera/cards.h"
#include "camera/photo.h"

namespace interstice::bench {

struct PhotoCheck {
  std::string photo;  // the file's name
  int width = 0, height = 0;
  double focal_px = 0;  // as EXIF says it, else of a usual phone
  bool has_focal = false;
  std::vector<camera::CardView> cards;  // pixels of the whole picture
  std::optional<double> blur_mm, blur_px;
  std::optional<double> white, black;  // grey values of the cards' squares, 0 to 255
  std::vector<std::string> faults;     // the photo is no help: take it again
  std::vector<std::string> notes;      // usable, could be better
};

// Throws PhotoError. `small`: where a picture of at most 480 px, turned as its viewer would, is put (JPEG).
PhotoCheck check_photo(const std::filesystem::path& photo, double smallest_fill_mm,
                       const std::filesystem::path& small);

// Documents kept beside the scan: checks/NAME.json.
std::string write_check(const PhotoCheck& check);
PhotoCheck parse_check(const std::string& json, const std::string& file);

}  // namespace interstice::bench
