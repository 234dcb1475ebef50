#include "camera/photo.h"

#include <gtest/gtest.h>
#include <libheif/heif.h>
#include <turbojpeg.h>

#include <exiv2/exiv2.hpp>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "camera/encoded.h"
#include "camera/photo_file.h"
#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;

// A picture whose corners tell how it lies: dark top left, bright bottom right, blue left and red right.
cv::Mat signpost(int width, int height) {
  cv::Mat picture(height, width, CV_8UC3);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      const double u = static_cast<double>(x) / width, v = static_cast<double>(y) / height;
      picture.at<cv::Vec3b>(y, x) =
          cv::Vec3b(cv::saturate_cast<uchar>(200 * (1 - u)), cv::saturate_cast<uchar>(40 + 180 * v),
                    cv::saturate_cast<uchar>(200 * u));
    }
  }
  return picture;
}

void add_exif(const std::filesystem::path& path, int orientation) {
  camera::quiet_image_libraries();
  const auto image = Exiv2::ImageFactory::open(path.string());
  image->readMetadata();
  Exiv2::ExifData exif = image->exifData();  // a TIFF's own layout stands there too
  exif["Exif.Image.Make"] = "Wader";
  exif["Exif.Image.Model"] = "W9 ";
  exif["Exif.Image.Orientation"] = static_cast<std::uint16_t>(orientation);
  exif["Exif.Photo.FocalLength"] = Exiv2::Rational(57, 10);
  exif["Exif.Photo.FocalLengthIn35mmFilm"] = static_cast<std::uint16_t>(27);
  exif["Exif.Photo.LensModel"] = "main";
  image->setExifData(exif);
  image->writeMetadata();
}

double difference(const cv::Mat& a, const cv::Mat& b) {
  if (a.size() != b.size() || a.type() != b.type()) return 1e9;
  return cv::norm(a, b, cv::NORM_L1) /
         static_cast<double>(a.total() * static_cast<std::size_t>(a.channels()));
}

TEST(Photo, ExifIsReadAndThePictureIsNeverTurned) {
  const TemporaryFolder folder;
  const cv::Mat picture = signpost(120, 80);
  for (const char* extension : {".jpg", ".png", ".webp", ".tif"}) {
    const auto path = folder / (std::string("a") + extension);
    for (int orientation = 1; orientation <= 8; ++orientation) {
      write_bytes(path,
                  encoded(extension, picture, {cv::IMWRITE_JPEG_QUALITY, 98, cv::IMWRITE_WEBP_QUALITY, 101}));
      add_exif(path, orientation);
      const camera::PhotoInfo info = camera::read_photo_info(path);
      EXPECT_EQ(info.exif_orientation, orientation);
      EXPECT_EQ(info.width, 120);
      EXPECT_EQ(info.height, 80);
      EXPECT_EQ(info.name, "a");
      EXPECT_EQ(info.camera, "Wader W9, main");
      EXPECT_DOUBLE_EQ(info.focal_35mm.value_or(0), 27);
      EXPECT_NEAR(info.focal_mm.value_or(0), 5.7, 1e-6);
      EXPECT_LT(difference(camera::read_photo_colour(info), picture), 2) << extension << orientation;
      cv::Mat grey;
      cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
      EXPECT_LT(difference(camera::read_photo_grey(info), grey), 1.5) << extension << orientation;
    }
  }
}

TEST(Photo, SixteenBitAndFourChannelPicturesAreTaken) {
  const TemporaryFolder folder;
  const cv::Mat picture = signpost(90, 70);
  cv::Mat deep, alpha, grey;
  picture.convertTo(deep, CV_16U, 257);
  cv::cvtColor(picture, alpha, cv::COLOR_BGR2BGRA);
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  for (const auto& [name, source] : std::vector<std::pair<std::string, cv::Mat>>{
           {"deep.png", deep}, {"deep.tif", deep}, {"alpha.png", alpha}, {"plain.tif", picture}}) {
    write_bytes(folder / name, encoded(name.substr(name.find('.')).c_str(), source));
    const camera::PhotoInfo info = camera::read_photo_info(folder / name);
    EXPECT_EQ(difference(camera::read_photo_colour(info), picture), 0) << name;
    EXPECT_LE(difference(camera::read_photo_grey(info), grey), 0.01) << name;
  }
  write_bytes(folder / "grey.jpg", encoded(".jpg", grey, {cv::IMWRITE_JPEG_QUALITY, 99}));
  const camera::PhotoInfo info = camera::read_photo_info(folder / "grey.jpg");
  EXPECT_LT(difference(camera::read_photo_grey(info), grey), 1);
  EXPECT_EQ(camera::read_photo_colour(info).channels(), 3);
}

TEST(Photo, FourColourJpegIsTaken) {
  const TemporaryFolder folder;
  const cv::Mat picture = signpost(64, 48);
  // Stored inverted, 255 is no ink; black ink unused.
  cv::Mat cmyk(picture.size(), CV_8UC4);
  for (int y = 0; y < cmyk.rows; ++y) {
    for (int x = 0; x < cmyk.cols; ++x) {
      const cv::Vec3b p = picture.at<cv::Vec3b>(y, x);
      cmyk.at<cv::Vec4b>(y, x) = cv::Vec4b(p[2], p[1], p[0], 255);
    }
  }
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  const tjhandle jpeg = tjInitCompress();
  ASSERT_EQ(tjCompress2(jpeg, cmyk.data, 64, 0, 48, TJPF_CMYK, &bytes, &size, TJSAMP_444, 97, 0), 0);
  write_bytes(folder / "c.jpg", std::string(reinterpret_cast<char*>(bytes), size));
  tjFree(bytes);
  tjDestroy(jpeg);
  EXPECT_LT(difference(camera::read_photo_colour(camera::read_photo_info(folder / "c.jpg")), picture), 3);
}

// A HEIC file whose rotation box turns it: the pixels come as the sensor saw them.
TEST(Photo, HeicIsReadInSensorOrientation) {
  const TemporaryFolder folder;
  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  if (heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code != heif_error_Ok) {
    heif_context_free(context);
    GTEST_SKIP() << "this libheif cannot write HEIC";
  }
  const cv::Mat picture = signpost(128, 96);
  heif_image* image = nullptr;
  heif_image_create(128, 96, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
  heif_image_add_plane(image, heif_channel_interleaved, 128, 96, 8);
  int step = 0;
  auto* plane = heif_image_get_plane(image, heif_channel_interleaved, &step);
  cv::Mat rgb(96, 128, CV_8UC3, plane, static_cast<std::size_t>(step));
  cv::cvtColor(picture, rgb, cv::COLOR_BGR2RGB);
  heif_encoder_set_lossy_quality(encoder, 95);
  heif_image_handle* handle = nullptr;
  heif_encoding_options* options = heif_encoding_options_alloc();
  options->image_orientation = heif_orientation_rotate_90_cw;
  ASSERT_EQ(heif_context_encode_image(context, image, encoder, options, &handle).code, heif_error_Ok);
  heif_encoding_options_free(options);
  heif_image_handle_release(handle);
  heif_image_release(image);
  heif_encoder_release(encoder);
  const auto path = folder / "a.heic";
  heif_context_write_to_file(context, path.c_str());
  heif_context_free(context);
  // A viewer would turn it. This writer states the turned size where ISO 23008-12 wants the coded one, as
  // phones write it: put right here.
  std::string file = bytes_of(path);
  ASSERT_NE(file.find("irot"), std::string::npos);
  const std::size_t ispe = file.find("ispe");
  ASSERT_NE(ispe, std::string::npos);
  file.replace(ispe + 8, 8, std::string("\0\0\0\x80\0\0\0\x60", 8));  // 128 x 96
  write_bytes(path, file);

  const camera::PhotoInfo info = camera::read_photo_info(path);
  EXPECT_EQ(info.width, 128);
  EXPECT_EQ(info.height, 96);
  EXPECT_LT(difference(camera::read_photo_colour(info), picture), 4);

  // Cut short: never a picture, never a crash.
  const std::string whole = bytes_of(path);
  for (std::size_t part = 1; part < 40; ++part) {
    const auto cut = folder / "cut.heic";
    write_bytes(cut, whole.substr(0, whole.size() * part / 41));
    const std::string line =
        thrown_by<camera::PhotoError>([&] { camera::read_photo_grey(camera::read_photo_info(cut)); });
    EXPECT_NE(line.find("cut.heic: "), std::string::npos) << part << line;
  }
}

// Property: a picture cut off anywhere is refused by a typed error, in every format.
TEST(Photo, CutShortAnywhereIsRefused) {
  const TemporaryFolder folder;
  const cv::Mat picture = signpost(160, 120);
  const std::vector<std::pair<std::string, std::string>> files = {
      {"base.jpg", encoded(".jpg", picture)},
      {"progressive.jpg", encoded(".jpg", picture, {cv::IMWRITE_JPEG_PROGRESSIVE, 1})},
      {"p.png", encoded(".png", picture)},
      {"w.webp", encoded(".webp", picture)},
      {"t.tif", encoded(".tif", picture)}};
  for (const auto& [name, whole] : files) {
    write_bytes(folder / name, whole);
    EXPECT_EQ(thrown_by<camera::PhotoError>(
                  [&] { camera::read_photo_grey(camera::read_photo_info(folder / name)); }),
              "nothing thrown")
        << name;
    for (std::size_t part = 0; part < 97; ++part) {
      const std::size_t length = part == 96 ? whole.size() - 2 : whole.size() * part / 97;
      write_bytes(folder / name, whole.substr(0, length));
      const std::string line = thrown_by<camera::PhotoError>(
          [&] { camera::read_photo_grey(camera::read_photo_info(folder / name)); });
      EXPECT_EQ(line.rfind((folder / name).string() + ": ", 0), 0u)
          << name << " at " << length << ": " << line;
    }
  }
}

// Property: bytes changed at random, above all in EXIF, give a picture or a typed error.
TEST(Photo, GarbageNeverCrashes) {
  const TemporaryFolder folder;
  const auto path = folder / "g.jpg";
  write_bytes(path, encoded(".jpg", signpost(96, 64)));
  add_exif(path, 6);
  const std::string whole = bytes_of(path);
  std::mt19937 random(11);
  int read = 0, refused = 0;
  for (int n = 0; n < 400; ++n) {
    std::string bytes = whole;
    const std::size_t span = n % 2 ? std::min<std::size_t>(bytes.size(), 400) : bytes.size();
    for (int k = 0; k < 1 + n % 12; ++k) bytes[2 + random() % (span - 2)] = static_cast<char>(random());
    write_bytes(path, bytes);
    try {
      const camera::PhotoInfo info = camera::read_photo_info(path);
      EXPECT_EQ(camera::read_photo_grey(info).cols, info.width);
      ++read;
    } catch (const camera::PhotoError&) {
      ++refused;
    }
  }
  EXPECT_GT(read, 20);
  EXPECT_GT(refused, 20);
}

TEST(Photo, WhatIsNoPictureIsNamed) {
  const TemporaryFolder folder;
  const auto line = [&](const std::string& bytes) {
    write_bytes(folder / "x.jpg", bytes);
    return thrown_by<camera::PhotoError>([&] { camera::read_photo_info(folder / "x.jpg"); });
  };
  EXPECT_NE(line("").find("0 bytes"), std::string::npos);
  EXPECT_NE(line("hello, not a picture at all").find("not a picture"), std::string::npos);
  // A PNG header that claims 60 000 x 60 000 pixels is refused before memory is asked for.
  std::string huge = encoded(".png", signpost(20, 20));
  huge[16] = huge[17] = huge[20] = huge[21] = 0;
  huge[18] = huge[22] = static_cast<char>(0xea);
  huge[19] = huge[23] = 0x60;
  EXPECT_NE(line(huge).find("megapixels"), std::string::npos);
  EXPECT_NE(
      thrown_by<core::InputError>([&] { camera::read_photo_info(folder / "none.jpg"); }).find("no such file"),
      std::string::npos);
}

TEST(Photo, ListsByExtensionSortedAndRefusesDoubles) {
  const TemporaryFolder folder;
  for (const char* name : {"b.JPG", "a.jpeg", "c.HeIc", "d.txt", ".hidden.jpg", "plan.json", "e.tiff"}) {
    write_bytes(folder / name, "x");
  }
  std::filesystem::create_directory(folder / "folder.jpg");
  std::vector<std::string> names;
  for (const auto& p : camera::list_photos(folder.path())) names.push_back(p.filename().string());
  EXPECT_EQ(names, (std::vector<std::string>{"a.jpeg", "b.JPG", "c.HeIc", "e.tiff"}));
  write_bytes(folder / "a.png", "x");
  EXPECT_NE(thrown_by<core::InputError>([&] { camera::list_photos(folder.path()); }).find("keep one photo"),
            std::string::npos);
  EXPECT_NE(
      thrown_by<core::InputError>([&] { camera::list_photos(folder / "nowhere"); }).find("no such folder"),
      std::string::npos);
  EXPECT_NE(thrown_by<core::InputError>([&] { camera::list_photos(folder / "d.txt"); }).find("is a file"),
            std::string::npos);
  EXPECT_NE(
      thrown_by<core::InputError>([&] { camera::list_photos(folder / "folder.jpg"); }).find("holds no photo"),
      std::string::npos);
}

// The 35-mm equivalent keeps the diagonal: 26 mm on 43.27 mm is 0.601 diagonals. 4032 x 3024: 5040 px.
TEST(Photo, FocalLengthFromTheDiagonal) {
  camera::PhotoInfo info;
  info.width = 4032;
  info.height = 3024;
  EXPECT_NEAR(camera::exif_focal_px(info), 5040 * camera::kDefaultFocal35mm / std::hypot(36, 24), 1e-9);
  info.focal_35mm = 50;
  EXPECT_NEAR(camera::exif_focal_px(info), 5040 * 50 / 43.2666, 0.01);
  info.focal_35mm = 0.001;
  EXPECT_NEAR(camera::exif_focal_px(info), 5040 * camera::kDefaultFocal35mm / std::hypot(36, 24), 1e-9);
}

}  // namespace
}  // namespace interstice
