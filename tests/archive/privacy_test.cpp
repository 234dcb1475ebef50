// What leaves the archive with a picture: nothing but the picture. Seen by our own reading of the bytes, by
// the library that reads metadata, and by an independent reader (exiftool).
#include <gtest/gtest.h>

#include <exiv2/exiv2.hpp>
#include <nlohmann/json.hpp>

#include "archive/archive.h"
#include "archive/export.h"
#include "archive/photo_privacy.h"
#include "archive/private_pictures.h"
#include "archive/sample.h"
#include "archive/tells_location.h"
#include "core/errors.h"

namespace fs = std::filesystem;
using namespace interstice;

namespace {

const std::map<std::string, std::string>& pictures() {
  static const std::map<std::string, std::string> all = sample::private_pictures();
  return all;
}

// Every tag that the independent reader finds in a folder, embedded files included: file name -> "Group:Tag".
std::map<std::string, std::vector<std::string>> tags_found(const fs::path& folder) {
  const auto [code, out] =
      sample::shell("exiftool -q -q -r -ee -a -u -G1 -s -json '" + folder.string() + "'");
  EXPECT_EQ(code, 0) << "exiftool (Debian: libimage-exiftool-perl): " << out.substr(0, 400);
  std::map<std::string, std::vector<std::string>> found;
  for (const auto& file : nlohmann::json::parse(out.substr(out.find('[')), nullptr, false)) {
    const std::string name = fs::path(file.at("SourceFile").get<std::string>()).filename().string();
    for (const auto& [key, value] : file.items()) found[name].push_back(key);
  }
  return found;
}

// Told of the file, or of the picture's own structure.
bool is_harmless(const std::string& tag) {
  for (const char* group : {"SourceFile",
                            "ExifTool:",
                            "System:",
                            "File:",
                            "JFIF:",
                            "PNG",
                            "RIFF:",
                            "ICC",
                            "Meta:",
                            "QuickTime:",
                            "Composite:ImageSize",
                            "Composite:Megapixels",
                            "Composite:FocalLength",
                            "Composite:ScaleFactor",
                            "Composite:CircleOfConfusion",
                            "Composite:FOV",
                            "Composite:HyperfocalDistance",
                            "Composite:Rotation",
                            "IFD0:",
                            "ExifIFD:FocalLength"}) {
    if (tag.rfind(group, 0) == 0 && tag.find("GPS") == std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST(Privacy, ThePicturesTellAPlaceBefore) {
  const sample::Scratch scratch;
  for (const auto& [name, bytes] : pictures()) {
    EXPECT_NE(bytes.find(sample::kSecret), std::string::npos) << name;
    sample::write_file(scratch / ("p/" + name), bytes);
  }
  std::size_t placed = 0;
  for (const auto& [name, tags] : tags_found(scratch / "p")) {
    placed +=
        std::any_of(tags.begin(), tags.end(), [](const std::string& t) { return t.rfind("GPS:", 0) == 0; });
  }
  EXPECT_EQ(placed, pictures().size());
}

TEST(Privacy, NothingButThePictureStays) {
  for (const auto& [name, bytes] : pictures()) {
    SCOPED_TRACE(name);
    const std::string clean = archive::clean_picture(bytes, name);
    EXPECT_EQ(clean.find(sample::kSecret), std::string::npos);
    EXPECT_EQ(clean.find("GPS"), std::string::npos);
    EXPECT_FALSE(tells_location(clean));
    EXPECT_TRUE(sample::pixels_of(clean) == sample::pixels_of(bytes));
    EXPECT_EQ(archive::clean_picture(clean, name).size(), clean.size());  // clean already: the same again
    const auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(clean.data()),
                                                 static_cast<long>(clean.size()));
    image->readMetadata();
    Exiv2::ExifData& exif = image->exifData();
    EXPECT_EQ(exif["Exif.Image.Make"].toString(), "Heron");
    EXPECT_EQ(exif["Exif.Image.Model"].toString(), "Wader 2");
    EXPECT_EQ(exif["Exif.Image.Orientation"].toString(), "6");
    EXPECT_NEAR(exif["Exif.Photo.FocalLength"].toFloat(), 5.7, 1e-3);
    EXPECT_EQ(exif["Exif.Photo.FocalLengthIn35mmFilm"].toString(), "26");
  }
}

TEST(Privacy, TheColourProfileStaysWhole) {
  const std::string clean = archive::clean_picture(pictures().at("icc.jpg"), "icc.jpg");
  const auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(clean.data()),
                                               static_cast<long>(clean.size()));
  image->readMetadata();
  const Exiv2::DataBuf* profile = image->iccProfile();
  ASSERT_NE(profile, nullptr);
  EXPECT_TRUE(std::string(reinterpret_cast<const char*>(profile->pData_),
                          static_cast<std::size_t>(profile->size_)) == sample::large_profile());
}

TEST(Privacy, DamagedPicturesAreRefusedOrClean) {
  for (const auto& [name, bytes] : pictures()) {
    std::size_t refused = 0;
    const std::size_t step = std::max<std::size_t>(1, bytes.size() / 150);
    for (std::size_t at = 0; at < bytes.size(); at += step) {
      for (const bool cut : {true, false}) {
        std::string damaged = cut ? bytes.substr(0, at) : bytes;
        if (!cut) damaged[at] = static_cast<char>(damaged[at] ^ 0x55);
        try {
          const std::string clean = archive::clean_picture(damaged, name);
          EXPECT_EQ(clean.find(sample::kSecret), std::string::npos) << name << " at " << at;
        } catch (const core::InputError&) {
          ++refused;
        }
      }
    }
    EXPECT_GT(refused, 10u) << name;
  }
}

TEST(Privacy, NoPlaceInAnyExportedByte) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 6);
  sample::write_results(scratch / "results", plan, sample::built(plan));
  for (const auto& [name, bytes] : pictures()) sample::write_file(scratch / ("photos/" + name), bytes);
  // A scan of an earlier version, and a picture that somebody put among its files.
  sample::write_file(scratch / "results/scan/scan.json",
                     R"({"photos": [{"name": "a", "file": "/home/wren/Q7-quay-51.4779N-Q7/a.jpg"}]})");
  sample::write_file(scratch / "results/scan/shown.jpg", pictures().at("film.jpg"));
  archive::Archive archive = archive::Archive::open_or_make(scratch / "archive");
  archive::AddRequest request = sample::request(scratch / "results", "bowl");
  request.photos = {scratch / "photos"};
  const std::string id = archive.add(request).entry.id;
  const archive::Exported exported = archive::export_entry(archive, id, scratch / "out", {}, 2);
  EXPECT_EQ(exported.cleaned.size(), pictures().size() + 2);  // the one in scan/, and the archive's preview
  EXPECT_EQ(exported.left_out.size(), 3u);                    // parts of the made-up scan that are no results
  EXPECT_TRUE(archive.verify(id, 1).faults.empty());
  for (const auto& [name, bytes] : sample::contents(scratch / "out")) {
    EXPECT_EQ(bytes.find(sample::kSecret), std::string::npos) << name;
    EXPECT_EQ(bytes.find("/home/"), std::string::npos) << name;
  }
  for (const auto& [name, tags] : tags_found(scratch / "out/data")) {
    for (const std::string& tag : tags) {
      const bool text = name.find(".json") != std::string::npos || name.find(".csv") != std::string::npos ||
                        name.find(".html") != std::string::npos || name.find(".txt") != std::string::npos;
      EXPECT_TRUE(text || is_harmless(tag)) << name << ": " << tag;
    }
  }
}

TEST(Privacy, WhatCannotBeCleanedIsRefusedByName) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 6);
  sample::write_results(scratch / "results", plan, sample::built(plan));
  sample::write_file(scratch / "photos/good.jpg", pictures().at("notes.jpg"));
  sample::write_file(scratch / "photos/half.jpg", pictures().at("notes.jpg").substr(0, 3000));
  sample::write_file(scratch / "clip.mov", std::string("\0\0\0\x14moov", 8) + sample::kSecret);
  archive::Archive archive = archive::Archive::open_or_make(scratch / "archive");
  archive::AddRequest request = sample::request(scratch / "results", "bowl");
  request.photos = {scratch / "photos", scratch / "clip.mov"};
  const std::string id = archive.add(request).entry.id;
  try {
    archive::export_entry(archive, id, scratch / "out", {}, 1);
    ADD_FAILURE() << "exported";
  } catch (const core::InputError& e) {
    const std::string line = e.what();
    EXPECT_NE(line.find("photos/clip.mov"), std::string::npos) << line;
    EXPECT_NE(line.find("photos/half.jpg"), std::string::npos) << line;
    EXPECT_EQ(line.find("good.jpg"), std::string::npos) << line;
    EXPECT_NE(line.find("--without-photos"), std::string::npos) << line;
  }
  EXPECT_FALSE(fs::exists(scratch / "out"));
  EXPECT_EQ(archive::export_entry(archive, id, scratch / "none", {.without_photos = true}, 1).cleaned.size(),
            1u);
}
