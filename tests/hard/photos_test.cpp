// Photos of every kind phones and people produce, among good ones. `scan` is not reached: three good photos
// are too few, so that every case is short, and each bad photo is named before that is said.
#include <libheif/heif.h>
#include <turbojpeg.h>

#include <cstdint>
#include <exiv2/exiv2.hpp>
#include <numeric>
#include <random>

#include "hard/scored.h"
#include "hard/small_photos.h"

namespace interstice::hard {
namespace {

class Photos : public Cases {
 protected:
  // One photo alone in a folder: what is said about it.
  Ran alone(const std::string& what) {
    const Ran ran = run(inspect(folder_ / "photos", kPlover + "/plan.json", folder_ / "out"));
    EXPECT_GE(ran.exit_code, 2) << what;
    EXPECT_LE(ran.exit_code, 3) << what << ran.exit_code;
    EXPECT_EQ(lines(ran.err), 1) << what << ran.err;
    EXPECT_FALSE(fs::exists(folder_ / "out"));
    row("photos", what, ran);
    fs::remove_all(folder_ / "photos");
    fs::create_directories(folder_ / "photos");
    return ran;
  }
  void put(const std::string& name, const std::string& bytes) {
    std::ofstream(folder_ / "photos" / name, std::ios::binary) << bytes;
  }
  static std::string jpeg(const cv::Mat& picture, const std::vector<int>& how = {}) {
    std::vector<uchar> bytes;
    cv::imencode(".jpg", picture, bytes, how);
    return {bytes.begin(), bytes.end()};
  }
};

TEST_F(Photos, UnreadableOnesAreNamed) {
  put("a.jpg", "");
  EXPECT_NE(alone("a photo of zero bytes").err.find("empty (0 bytes)"), std::string::npos);
  const std::string whole = jpeg(plover_photo(2));
  put("a.jpg", whole.substr(0, whole.size() * 2 / 3));
  EXPECT_NE(alone("a truncated JPEG").err.find("cut short"), std::string::npos);
  put("a.jpg", "");
  fs::resize_file(folder_ / "photos/a.jpg", std::uintmax_t(2) << 30);  // sparse: takes no room
  // One bad photo is left out, not the folder refused: the good one beside it is still counted.
  put("b.jpg", whole);
  EXPECT_NE(alone("a file of 2 GB beside a good photo").err.find("only 1 photo shows"), std::string::npos);
  put("a.jpg", "<html>not found</html>");
  EXPECT_NE(alone("a web page named .jpg").err.find("not a picture"), std::string::npos);
}

// Taken in, whatever the name and the kind: the program gets as far as asking for more photos.
TEST_F(Photos, NamesAndKindsAreTaken) {
  const cv::Mat good = plover_photo(2);
  for (const char* name : {"two words.jpg", "two\nlines.jpg", "\xc3\x89t\xc3\xa9 \xf0\x9f\x8c\xb2.jpg",
                           "-rf.jpg", "a'b\"c.JPEG"}) {
    put(name, jpeg(good));
    std::string shown = name;
    std::replace(shown.begin(), shown.end(), '\n', '~');
    EXPECT_NE(alone("a photo named \"" + shown + "\" (~: line end), alone").err.find("only 1 photo shows"),
              std::string::npos)
        << name;
  }
  put("p.jpg", jpeg(good, {cv::IMWRITE_JPEG_PROGRESSIVE, 1}));
  EXPECT_NE(alone("a progressive JPEG, alone").err.find("only 1 photo shows"), std::string::npos);
  cv::Mat grey, deep;
  cv::cvtColor(good, grey, cv::COLOR_BGR2GRAY);
  put("g.jpg", jpeg(grey));
  EXPECT_NE(alone("a grey JPEG, alone").err.find("only 1 photo shows"), std::string::npos);
  good.convertTo(deep, CV_16U, 257);
  cv::imwrite((folder_ / "photos/d.png").string(), deep);
  EXPECT_NE(alone("a PNG of 16 bits, alone").err.find("only 1 photo shows"), std::string::npos);
  cv::imwrite((folder_ / "photos/t.tif").string(), good);
  EXPECT_NE(alone("a TIFF, alone").err.find("only 1 photo shows"), std::string::npos);
}

// Four colours, as print shops save them.
TEST_F(Photos, FourColours) {
  const cv::Mat good = plover_photo(2);
  cv::Mat cmyk(good.size(), CV_8UC4);
  for (int y = 0; y < good.rows; ++y) {
    for (int x = 0; x < good.cols;
         ++x) {  // inverted, as Adobe's marker has it: red, green, blue and no black
      const cv::Vec3b p = good.at<cv::Vec3b>(y, x);
      cmyk.at<cv::Vec4b>(y, x) = {p[2], p[1], p[0], 255};
    }
  }
  const tjhandle compressor = tjInitCompress();
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  ASSERT_EQ(tjCompress2(compressor, cmyk.data, cmyk.cols, 0, cmyk.rows, TJPF_CMYK, &bytes, &size, TJSAMP_444,
                        92, 0),
            0);
  put("k.jpg", std::string(reinterpret_cast<const char*>(bytes), size));
  tjFree(bytes);
  tjDestroy(compressor);
  EXPECT_NE(alone("a CMYK JPEG, alone").err.find("only 1 photo shows"), std::string::npos);
}

TEST_F(Photos, Heic) {
  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  if (heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code != heif_error_Ok) {
    heif_context_free(context);
    GTEST_SKIP() << "this libheif cannot write HEIC";
  }
  const cv::Mat good = plover_photo(2);
  heif_image* image = nullptr;
  heif_image_create(good.cols, good.rows, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
  heif_image_add_plane(image, heif_channel_interleaved, good.cols, good.rows, 8);
  int step = 0;
  uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &step);
  cv::cvtColor(good, cv::Mat(good.rows, good.cols, CV_8UC3, plane, static_cast<std::size_t>(step)),
               cv::COLOR_BGR2RGB);
  heif_encoder_set_lossy_quality(encoder, 80);
  heif_image_handle* handle = nullptr;
  ASSERT_EQ(heif_context_encode_image(context, image, encoder, nullptr, &handle).code, heif_error_Ok);
  for (const char* name : {"h.heic", "h.HEIF"}) {
    ASSERT_EQ(heif_context_write_to_file(context, (folder_ / "photos" / name).c_str()).code, heif_error_Ok);
    EXPECT_NE(alone(std::string("HEIC named ") + name + ", alone").err.find("only 1 photo shows"),
              std::string::npos);
  }
  heif_image_handle_release(handle);
  heif_image_release(image);
  heif_encoder_release(encoder);
  heif_context_free(context);
}

// What the camera notes beside the picture may be any of eight turns, absurd, or missing.
TEST_F(Photos, ExifOfEveryKind) {
  const std::string good = jpeg(plover_photo(2));
  const auto with = [&](const std::function<void(Exiv2::ExifData&)>& change) {
    put("e.jpg", good);
    const auto image = Exiv2::ImageFactory::open((folder_ / "photos/e.jpg").string());
    image->readMetadata();
    Exiv2::ExifData data;
    change(data);
    image->setExifData(data);
    image->writeMetadata();
  };
  for (int turn = 1; turn <= 8; ++turn) {
    with([&](Exiv2::ExifData& data) { data["Exif.Image.Orientation"] = static_cast<std::uint16_t>(turn); });
    EXPECT_NE(alone("orientation tag " + std::to_string(turn) + ", alone").err.find("only 1 photo shows"),
              std::string::npos);
  }
  with([](Exiv2::ExifData& data) {
    data["Exif.Image.Orientation"] = static_cast<std::uint16_t>(99);
    data["Exif.Photo.FocalLength"] = Exiv2::Rational(7, 0);
    data["Exif.Photo.FocalLengthIn35mmFilm"] = static_cast<std::uint16_t>(65535);
    data["Exif.Image.Model"] = "two\nlines | and \x1b[31m red";
  });
  EXPECT_NE(alone("absurd EXIF (turn 99, focal lengths 7/0 and 65535), alone").err.find("only 1 photo shows"),
            std::string::npos);
  put("e.jpg", good);
  EXPECT_NE(alone("no EXIF, alone").err.find("only 1 photo shows"), std::string::npos);
}

// Every useless photo among good ones is named, and the good ones are measured.
TEST_F(Photos, BadOnesAmongGoodOnes) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  std::vector<int> numbers(20);
  std::iota(numbers.begin(), numbers.end(), 1);
  write_photos(folder_ / "photos", numbers);
  const std::string whole = jpeg(plover_photo(2));
  cv::Mat blurred;
  cv::filter2D(plover_photo(2), blurred, -1, cv::Mat(1, 61, CV_32F, cv::Scalar(1.0 / 61)));
  put("bad_screenshot.jpg", jpeg(cv::Mat(1200, 540, CV_8UC3, cv::Scalar(240, 240, 240))));
  put("bad_thumbnail.jpg", jpeg(plover_photo(2, 0.08)));
  put("bad_blur.jpg", jpeg(blurred));
  put("bad_empty.jpg", "");
  put("bad_cut.jpg", whole.substr(0, whole.size() * 2 / 3));
  put("bad_page.jpg", "<html>not found</html>");
  put("bad_double.jpg", jpeg(plover_photo(2), {cv::IMWRITE_JPEG_QUALITY, 70}));
  put("bad_huge.jpg", "");
  fs::resize_file(folder_ / "photos/bad_huge.jpg", std::uintmax_t(2) << 30);
  const Ran ran = run(inspect(folder_ / "photos", kPlover + "/plan.json", folder_ / "out"));
  row("photos", "eight bad photos among twenty good ones", ran);
  ASSERT_EQ(ran.exit_code, 1) << ran.err;
  for (const char* bad : {"screenshot", "thumbnail", "blur", "empty", "cut", "page", "huge"}) {
    EXPECT_NE(ran.out.find(std::string("left out: bad_") + bad), std::string::npos) << bad << ran.out;
  }
  EXPECT_NE(ran.out.find("is the same picture as"), std::string::npos) << ran.out;
  EXPECT_TRUE(scored(folder_ / "out/fit.json", kPlover + "/truth.json").tight_called_clear.empty());
}

TEST_F(Photos, UselessOnes) {
  put("s.jpg", jpeg(cv::Mat(1200, 540, CV_8UC3, cv::Scalar(240, 240, 240))));
  EXPECT_EQ(alone("a screenshot, alone").exit_code, 3);
  put("t.jpg", jpeg(plover_photo(2, 0.08)));
  EXPECT_EQ(alone("a thumbnail of 161 x 121, alone").exit_code, 3);
  cv::Mat blurred;
  cv::filter2D(plover_photo(2), blurred, -1, cv::Mat(1, 61, CV_32F, cv::Scalar(1.0 / 61)));
  put("b.jpg", jpeg(blurred));
  EXPECT_EQ(alone("motion blur of 61 pixels, alone").exit_code, 3);
  cv::Mat covered = plover_photo(2);
  covered.colRange(0, covered.cols / 2).setTo(cv::Scalar(30, 40, 60));
  put("c.jpg", jpeg(covered));
  EXPECT_EQ(alone("half the frame covered, alone").exit_code, 3);
}

// The same picture thrice, once compressed harder and once smaller, is one picture.
TEST_F(Photos, DoublesCountOnce) {
  const cv::Mat picture = plover_photo(2, 1);
  cv::Mat smaller;
  cv::resize(picture, smaller, {}, 0.8, 0.8, cv::INTER_AREA);
  put("a.jpg", jpeg(picture, {cv::IMWRITE_JPEG_QUALITY, 95}));
  put("b.jpg", jpeg(picture, {cv::IMWRITE_JPEG_QUALITY, 75}));
  put("c.jpg", jpeg(smaller, {cv::IMWRITE_JPEG_QUALITY, 90}));
  put("d.jpg", jpeg(plover_photo(4, 1)));
  const Ran ran = alone("one picture thrice (compressed harder, smaller) and another");
  EXPECT_NE(ran.err.find("only 2 photos"), std::string::npos) << ran.err;
}

TEST_F(Photos, FortyEightMegapixels) {
  if (!full()) GTEST_SKIP() << "by hand: INTERSTICE_HARD=full";
  cv::Mat big;
  cv::resize(plover_photo(2, 1), big, {8064, 6048}, 0, 0, cv::INTER_CUBIC);
  put("big.jpg", jpeg(big));
  EXPECT_EQ(alone("48 megapixels, alone").exit_code, 3);
}

}  // namespace
}  // namespace interstice::hard
