// What becomes of a lens file is said in words; too few photos are said before anything else.
#include <gtest/gtest.h>

#include "scan/few_photos.h"
#include "scan/photo_lenses.h"

namespace interstice {
namespace {

camera::PhotoInfo photo(int width, int height, const std::string& camera) {
  camera::PhotoInfo info;
  info.width = width;
  info.height = height;
  info.camera = camera;
  return info;
}

std::string note(const camera::Lens& given, const std::vector<camera::PhotoInfo>& photos) {
  std::vector<scan::StartLens> starts;
  for (const camera::PhotoInfo& info : photos) starts.push_back(scan::start_lens(info, given));
  return scan::lens_file_note(given, starts);
}

TEST(LensNote, UsedScaledOrNotAndWhy) {
  camera::Lens lens = camera::plain_lens(4000, 3000, 3200.0);
  lens.camera = "A1";
  EXPECT_EQ(note(lens, {photo(4000, 3000, "A1"), photo(4000, 3000, "")}), "lens file: used");
  EXPECT_EQ(note(lens, {photo(2000, 1500, "A1")}),
            "lens file: scaled from 4000 x 3000 pixels to 2000 x 1500 pixels");
  EXPECT_EQ(note(lens, {photo(4000, 3000, "B2")}),
            "lens file: not used, it is of A1, the photo of B2; the scan calibrates itself");
  EXPECT_EQ(
      note(lens, {photo(4000, 2250, "A1")}),
      "lens file: not used, it is for 4000 x 3000 pixels, another shape than 4000 x 2250 pixels; the scan "
      "calibrates itself");
  EXPECT_EQ(note(lens, {photo(4000, 3000, "A1"), photo(4000, 3000, "A1"), photo(4000, 3000, "B2")}),
            "lens file: used for 2 of 3 photos; not for the others: it is of A1, the photo of B2");
  camera::PhotoInfo wide = photo(4000, 3000, "A1");
  wide.focal_35mm = 13;
  EXPECT_NE(note(lens, {wide}).find("another of the phone's lenses"), std::string::npos);
  EXPECT_EQ(scan::lens_file_note(std::nullopt, {scan::start_lens(wide, std::nullopt)}), "");
}

TEST(FewPhotos, AreSaidFirst) {
  EXPECT_EQ(scan::few_photos_or(8, "not found"), "not found");
  EXPECT_EQ(scan::few_photos_or(7, "not found"),
            "only 7 photos show cards that connect; take at least 8 photos all round with two cards in each");
  EXPECT_EQ(scan::few_photos(1),
            "only 1 photo shows cards that connect; take at least 8 photos all round with two cards in each");
}

}  // namespace
}  // namespace interstice
