// Several cameras, wrong and missing EXIF in one folder.
#include <cstdint>
#include <exiv2/exiv2.hpp>

#include "hard/scored.h"
#include "hard/small_photos.h"

namespace interstice::hard {
namespace {

class Lenses : public Cases {
 protected:
  struct Exif {
    std::string model;
    int focal_35mm = 0;
  };
  // A part of the middle of a demo photo: another camera with a longer lens, or a picture cut by hand.
  // aside: 0 the middle, 1 the lower right corner.
  void put(int number, double part, cv::Size size, const Exif& exif, double aside = 0) {
    const cv::Mat whole = plover_photo(number, 1);
    const int w = int(part * whole.cols), h = int(part * whole.rows);
    const int x = int((1 + aside) * (whole.cols - w) / 2), y = int((1 + aside) * (whole.rows - h) / 2);
    cv::Mat small;
    cv::resize(whole(cv::Rect(x, y, w, h)), small, size, 0, 0, cv::INTER_AREA);
    char name[20];
    std::snprintf(name, sizeof name, "photo_%02d.jpg", number);
    const std::string path = (folder_ / "photos" / name).string();
    cv::imwrite(path, small, {cv::IMWRITE_JPEG_QUALITY, 92});
    if (exif.model.empty() && exif.focal_35mm == 0) return;
    const auto image = Exiv2::ImageFactory::open(path);
    image->readMetadata();
    Exiv2::ExifData data;
    if (!exif.model.empty()) data["Exif.Image.Model"] = exif.model;
    if (exif.focal_35mm > 0)
      data["Exif.Photo.FocalLengthIn35mmFilm"] = static_cast<std::uint16_t>(exif.focal_35mm);
    image->setExifData(data);
    image->writeMetadata();
  }
  Ran measured(const std::string& what, bool with_lens_file) {
    std::vector<std::string> words = inspect(folder_ / "photos", kPlover + "/plan.json", folder_ / "out");
    if (!with_lens_file) words.erase(words.begin() + 4, words.begin() + 6);
    const Ran ran = run(words);
    row("lenses", what, told(ran));
    return ran;
  }
  void right(const Ran& ran) {
    ASSERT_LE(ran.exit_code, 1) << ran.err;
    const Scored score = scored(folder_ / "out/fit.json", kPlover + "/truth.json");
    EXPECT_GT(score.tight, 10);
    EXPECT_TRUE(score.tight_called_clear.empty()) << score.tight_called_clear.front();
    EXPECT_GE(score.within_u95, 0.9 * score.measured);
  }

  static constexpr int kPhotos = 20;
  const cv::Size half_{1008, 756}, whole_{2016, 1512};
};

// Two cameras, told apart by their names: each gets its own lens.
TEST_F(Lenses, TwoCameras) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  constexpr double kPart = 0.9;
  const cv::Size other(840, 630);
  for (int i = 1; i <= kPhotos; ++i) {
    if (i % 2 == 1) {
      put(i, 1, half_, {"Curlew", 0});
    } else {
      put(i, kPart, other, {"Dunlin", 0});
    }
  }
  right(measured("two cameras in one folder, no lens file", false));
  const nlohmann::json cameras = nlohmann::json::parse(slurp((folder_ / "out/scan/cameras.json").string()));
  std::map<bool, double> fx;
  for (const auto& photo : cameras.at("photos"))
    fx[std::stoi(photo.at("name").get<std::string>().substr(6)) % 2 == 0] = photo.at("fx");
  const double want = other.width / (kPart * half_.width);
  EXPECT_NEAR(fx[true] / fx[false], want, 0.005 * want);
}

// The same without EXIF and at one size: nothing tells the cameras apart but the pictures.
TEST_F(Lenses, TwoCamerasNobodyTellsApart) {
  for (int i = 1; i <= kPhotos; ++i) put(i, i % 2 == 1 ? 1 : 0.9, half_, {});
  const Ran ran = measured("two cameras in one folder, one size, EXIF lost", true);
  EXPECT_EQ(ran.exit_code, 3) << ran.out;
  EXPECT_NE(ran.err.find("one lens without zoom"), std::string::npos) << ran.err;
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

// Cut out of the middle and brought to the size of the others. Photo 8 shows a dozen corners of two cards.
TEST_F(Lenses, TwoCutPhotos) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full; always in scan_tests";
  for (int i = 1; i <= kPhotos; ++i) put(i, i == 8 || i == 12 ? 0.9 : 1, half_, {});
  const Ran ran = measured("2 of 20 photos cut and brought to the size of the others, EXIF lost", true);
  right(ran);
  EXPECT_NE(ran.out.find("left out: photo_08: its cards do not fit"), std::string::npos) << ran.out;
  EXPECT_NE(ran.out.find("left out: photo_12: its cards do not fit"), std::string::npos) << ran.out;
}

// Photo 1 shows one card alone, with EXIF as if it were uncut: left out for showing the form elsewhere, or
// used where the cut is too small to matter. At full size: at half, that photo is left out anyway.
TEST_F(Lenses, PhotoOfOneCardCut) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  const Exif exif{"Wader W1", 26};
  double uncut_rms_mm = 0;
  for (const auto& [percent, aside] : {std::pair{0.0, 0.0}, {1.0, 0.0}, {1.0, 1.0}, {2.0, 0.0}}) {
    SCOPED_TRACE(percent);
    fs::remove_all(folder_ / "out");
    for (int i = 1; i <= kPhotos; ++i) put(i, i == 1 ? 1 - percent / 100 : 1, whole_, exif, aside);
    char what[100];
    std::snprintf(what, sizeof what, "1 of 20 photos, of a single card, cut by %g %%%s, EXIF kept", percent,
                  aside > 0 ? " above and at the left" : "");
    const Ran ran = run(inspect(folder_ / "photos", kPlover + "/plan.json", folder_ / "out"));
    if (percent > 0) row("lenses", what, told(ran));
    right(ran);
    const double rms_mm = scored(folder_ / "out/fit.json", kPlover + "/truth.json").rms_mm;
    const bool used = ran.out.find("left out: photo_01") == std::string::npos;
    std::printf("%s: RMS %.4f mm, %s\n", what, rms_mm, used ? "used" : "left out");
    if (percent == 0) {
      uncut_rms_mm = rms_mm;
      EXPECT_TRUE(used) << ran.out;
    }
    if (used) {
      EXPECT_LT(rms_mm, 1.15 * uncut_rms_mm + 1e-6);
    }
  }
}

// Another phone's lens file, and nothing in the photos that says so.
TEST_F(Lenses, WrongLensFile) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  for (const double longer : {1.03, 1.15, 0.7}) {
    SCOPED_TRACE(longer);
    fs::remove_all(folder_ / "out");
    for (int i = 1; i <= kPhotos; ++i) put(i, 1, half_, {});
    nlohmann::json lens = nlohmann::json::parse(slurp(kPlover + "/W1.lens.json"));
    for (const char* f : {"fx", "fy"}) lens[f] = longer * lens[f].get<double>();
    lens["k1"] = lens["k1"].get<double>() - 0.06;
    lens["k2"] = lens["k2"].get<double>() + 0.1;
    lens["cx"] = lens["cx"].get<double>() + 25;
    std::ofstream(folder_ / "wrong.lens.json") << lens;
    std::vector<std::string> words = inspect(folder_ / "photos", kPlover + "/plan.json", folder_ / "out");
    words[5] = (folder_ / "wrong.lens.json").string();
    const Ran ran = run(words);
    char what[80];
    std::snprintf(what, sizeof what, "a lens file of another phone (%g times the focal length), EXIF lost",
                  longer);
    row("lenses", what, told(ran));
    if (ran.exit_code == 3) continue;
    right(ran);
  }
}

TEST_F(Lenses, WrongExif) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  for (const bool with_lens_file : {true, false}) {
    fs::remove_all(folder_ / "out");
    for (int i = 1; i <= kPhotos; ++i) put(i, 1, half_, {"Wader W1", 50});  // truly 26
    right(measured(with_lens_file ? "EXIF with twice the focal length, lens file given"
                                  : "EXIF with twice the focal length, no lens file",
                   with_lens_file));
  }
}

}  // namespace
}  // namespace interstice::hard
