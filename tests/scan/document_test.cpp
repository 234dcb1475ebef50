// A scan as files: what is read is what was written, and damaged files are refused in one line.
#include "scan/scan_document.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <Eigen/Geometry>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "core/errors.h"
#include "core/files.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using Eigen::Vector3d;
using nlohmann::json;

class ScanDocument : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_scan_" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_);
    for (int i = 0; i < 2; ++i) {
      const fs::path photo = folder_ / ("p" + std::to_string(i) + ".jpg");
      cv::imwrite(photo.string(), cv::Mat(480, 640, CV_8UC3, cv::Scalar(10, 20, 30)));
      scan::ScannedPhoto p;
      p.info = camera::read_photo_info(photo);
      p.lens = camera::plain_lens(640, 480, 500 + i / 3.0);
      p.lens.k1 = 0.1 / 3;
      p.lens.p2 = -1e-4 / 7;
      p.camera_T_bowl = Eigen::Translation3d(1.0 / 3, -20, 400 + i) *
                        Eigen::AngleAxisd(0.7 + i, Vector3d(1, 2, 3).normalized());
      p.covariance.setRandom();
      p.covariance = (1e-6 * p.covariance * p.covariance.transpose()).eval();
      scan_.photos.push_back(p);
    }
    scan_.points = {{1.0 / 3, 2, 3}, {-4, 5.5, 1e-3 / 7}};
    scan_.left_out = {{"p9", "cut short"}};
    scan_.quality.photos_given = 3;
    scan_.quality.reprojection_rms_px = 0.1 / 3;
    scan_.quality.length_error_mm = -0.02;
    scan_.quality.check_line_given = true;
    write();
  }
  void TearDown() override { fs::remove_all(folder_); }
  void write() {
    core::write_file_atomically(folder_ / "cameras.json", scan::write_cameras(scan_));
    core::write_file_atomically(folder_ / "scan.json", scan::write_scan(scan_));
  }
  json read(const char* name) { return json::parse(core::read_file(folder_ / name)); }
  void put(const char* name, const json& j) { core::write_file_atomically(folder_ / name, j.dump()); }
  std::string refused() {
    try {
      scan::read_scan(folder_);
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  }

  fs::path folder_;
  scan::Scan scan_;
};

TEST_F(ScanDocument, ReadsWhatWasWritten) {
  const scan::Scan back = scan::read_scan(folder_);
  ASSERT_EQ(back.photos.size(), 2u);
  for (std::size_t i = 0; i < 2; ++i) {
    const scan::ScannedPhoto &a = scan_.photos[geometry::PhotoIndex(i)],
                             &b = back.photos[geometry::PhotoIndex(i)];
    EXPECT_EQ(a.info.name, b.info.name);
    EXPECT_TRUE(a.lens.parameters() == b.lens.parameters());
    EXPECT_TRUE(a.camera_T_bowl.matrix() == b.camera_T_bowl.matrix());
    EXPECT_LT((a.covariance - b.covariance).cwiseAbs().maxCoeff(), 1e-20);
  }
  EXPECT_TRUE(back.points == scan_.points);
  EXPECT_EQ(back.left_out[0].reason, "cut short");
  EXPECT_EQ(scan::write_scan(back), scan::write_scan(scan_));
  EXPECT_EQ(scan::write_cameras(back), scan::write_cameras(scan_));
}

// A photo measured with a part of its pixels is written in those of its file, and read as it was measured.
TEST_F(ScanDocument, PlacesAreInPixelsOfTheFile) {
  scan::ScannedPhoto& photo = scan_.photos[geometry::PhotoIndex(1)];
  const std::string whole = scan::write_cameras(scan_);
  photo.info = camera::reduced_photo(photo.info, 2);
  photo.lens = photo.lens.scaled_to(320, 240);
  write();
  EXPECT_EQ(scan::write_cameras(scan_), whole);
  EXPECT_EQ(read("scan.json")["photos"][1]["width"], 640);
  EXPECT_FALSE(read("scan.json")["photos"][0].contains("reduced"));
  const scan::Scan back = scan::read_scan(folder_);
  const scan::ScannedPhoto& b = back.photos[geometry::PhotoIndex(1)];
  EXPECT_EQ(b.info.reduced, 2);
  EXPECT_EQ(b.info.width, 320);
  EXPECT_EQ(b.lens.height, 240);
  EXPECT_LT((b.lens.parameters() - photo.lens.parameters()).cwiseAbs().maxCoeff(), 1e-9);
  json wrong = read("scan.json");
  wrong["photos"][1]["reduced"] = 3;
  put("scan.json", wrong);
  EXPECT_NE(refused().find("reduced: does not divide"), std::string::npos) << refused();
}

// What a photo's rows and its lens do beyond the model's numbers is kept, a lens's field once for all its photos.
TEST_F(ScanDocument, KeepsWhatRowsAndLensesDo) {
  camera::ShiftField field(640, 480, 4);
  for (Eigen::Index i = 0; i < field.coefficients(); ++i)
    field.shifts().row(i) << 0.1 / 3 * double(i), -0.2 / 7 * double(i);
  const auto shared = std::make_shared<const camera::ShiftField>(field);
  for (scan::ScannedPhoto& photo : scan_.photos) photo.lens.residual = shared;
  scan_.photos[geometry::PhotoIndex(1)].lens.row_shift_px = {0.7, -0.1 / 3};
  write();
  const scan::Scan back = scan::read_scan(folder_);
  EXPECT_EQ(back.photos[geometry::PhotoIndex(0)].lens.residual,
            back.photos[geometry::PhotoIndex(1)].lens.residual);
  for (std::size_t i = 0; i < 2; ++i) {
    const Vector3d p(11, -7, 90);
    EXPECT_TRUE(back.photos[geometry::PhotoIndex(i)].project(p) ==
                scan_.photos[geometry::PhotoIndex(i)].project(p));
  }
  const json good = read("scan.json");
  const auto damaged = [&](const std::function<void(json&)>& damage) {
    json j = good;
    damage(j);
    put("scan.json", j);
    return refused();
  };
  EXPECT_NE(damaged([](json& j) {
              j["photos"][1]["row_shift_px"] = {1e9, 0};
            }).find("row_shift_px"),
            std::string::npos);
  EXPECT_NE(damaged([](json& j) { j["photos"][1]["lens_residual"] = 3; }).find("lens_residual"),
            std::string::npos);
  EXPECT_NE(damaged([](json& j) { j["lens_residuals"][0]["shifts_px"].erase(0); }).find("shifts_px"),
            std::string::npos);
  EXPECT_NE(damaged([](json& j) { j["lens_residuals"][0]["width"] = 320; }), "");
}

// Photos are moved: found in the folder named, kept as gone where the reader can do without, refused
// otherwise.
TEST_F(ScanDocument, PhotosThatMoved) {
  fs::create_directories(folder_ / "elsewhere");
  fs::rename(folder_ / "p1.jpg", folder_ / "elsewhere" / "p1.jpg");
  EXPECT_NE(refused().find("p1.jpg"), std::string::npos);
  const scan::Scan found =
      scan::read_scan(folder_, {.folder = folder_ / "elsewhere", .remembered = {}, .may_be_gone = false});
  EXPECT_EQ(found.photos[geometry::PhotoIndex(0)].info.path, folder_ / "p0.jpg");
  EXPECT_EQ(found.photos[geometry::PhotoIndex(1)].info.path, folder_ / "elsewhere" / "p1.jpg");
  const scan::Scan without = scan::read_scan(folder_, {.folder = {}, .remembered = {}, .may_be_gone = true});
  EXPECT_TRUE(without.photos[geometry::PhotoIndex(1)].info.path.empty());
  EXPECT_EQ(without.photos[geometry::PhotoIndex(1)].info.name, "p1");
  EXPECT_EQ(without.photos[geometry::PhotoIndex(1)].info.width, 640);
  EXPECT_FALSE(without.photos[geometry::PhotoIndex(0)].info.path.empty());
}

// A scan tells nothing of its maker's disk, whatever the photos' names hold.
TEST_F(ScanDocument, NamesFilesNotFolders) {
  const fs::path odd = folder_ / "photos" / "two\nlines \xff.jpg";
  fs::create_directories(odd.parent_path());
  fs::copy(folder_ / "p0.jpg", odd);
  scan_.photos[geometry::PhotoIndex(0)].info = camera::read_photo_info(odd);
  write();
  for (const char* file : {"scan.json", "cameras.json"}) {
    EXPECT_EQ(core::read_file(folder_ / file).find(folder_.parent_path().string()), std::string::npos);
    EXPECT_EQ(core::read_file(folder_ / file).find("\\n"), std::string::npos);
  }
  EXPECT_EQ(read("scan.json")["photos"][0]["file"], "two\\x0alines \\xff.jpg");
  EXPECT_EQ(scan::read_scan(folder_).photos[geometry::PhotoIndex(0)].info.path, odd);
  EXPECT_EQ(scan::read_scan(folder_, {.folder = {}, .remembered = odd.parent_path()})
                .photos[geometry::PhotoIndex(0)]
                .info.path,
            odd);
}

// A scan folder that somebody else made may name photos beside it, no others.
TEST_F(ScanDocument, ForeignScansReadNothingElsewhere) {
  const fs::path mine = folder_ / "mine";
  fs::create_directories(mine / "photos");
  fs::rename(folder_ / "p1.jpg", mine / "photos" / "p1.jpg");
  json scan = read("scan.json");
  const auto where = [&] {
    return scan::read_scan(folder_, {.folder = {}, .remembered = {}, .may_be_gone = true})
        .photos[geometry::PhotoIndex(1)]
        .info.path;
  };
  for (const std::string& named : {(mine / "photos/p1.jpg").string(), std::string("mine/photos/p1.jpg"),
                                   std::string("../x/../mine/photos/p1.jpg")}) {
    scan["photos"][1]["file"] = named;
    put("scan.json", scan);
    EXPECT_EQ(where(), "") << named;
    EXPECT_NE(refused().find("is not beside it"), std::string::npos) << refused();
  }
  fs::create_symlink(mine / "photos/p1.jpg", folder_ / "p1.jpg");
  EXPECT_EQ(where(), "");
  fs::remove(folder_ / "p1.jpg");
  ASSERT_EQ(::mkfifo((folder_ / "p1.jpg").c_str(), 0600), 0);
  EXPECT_EQ(where(), "");  // and is not waited for
  EXPECT_EQ(scan::read_scan(folder_, {.folder = mine / "photos", .remembered = {}, .may_be_gone = false})
                .photos[geometry::PhotoIndex(1)]
                .info.path,
            mine / "photos/p1.jpg");
}

// Another photo of the same name and size is not taken for the one that was measured.
TEST_F(ScanDocument, AnotherPhotoOfTheNameIsRefused) {
  cv::imwrite((folder_ / "p1.jpg").string(), cv::Mat(480, 640, CV_8UC3, cv::Scalar(90, 20, 30)));
  EXPECT_NE(refused().find("p1.jpg has changed since the scan, or is another one"), std::string::npos)
      << refused();
  fs::create_directories(folder_ / "photos");
  cv::imwrite((folder_ / "photos/p1.jpg").string(), cv::Mat(480, 640, CV_8UC3, cv::Scalar(10, 20, 30)));
  EXPECT_EQ(scan::read_scan(folder_).photos[geometry::PhotoIndex(1)].info.path,
            folder_ / "photos/p1.jpg");  // the right one
}

TEST_F(ScanDocument, NoLengthErrorStaysNone) {
  scan_.quality.length_error_mm.reset();
  write();
  EXPECT_FALSE(scan::read_scan(folder_).quality.length_error_mm);
}

// What other programs read: world to camera in the sense of p_camera = rotation * p_bowl + translation.
TEST_F(ScanDocument, CamerasProjectAsTheirFileSays) {
  const json photo = read("cameras.json")["photos"][1];
  const Vector3d p(10, -5, 30);
  Vector3d q;
  for (std::size_t i = 0; i < 3; ++i) {
    q[Eigen::Index(i)] = photo["translation"][i].get<double>();
    for (std::size_t j = 0; j < 3; ++j)
      q[Eigen::Index(i)] += photo["rotation"][i][j].get<double>() * p[Eigen::Index(j)];
  }
  const double x = q.x() / q.z(), y = q.y() / q.z(), r2 = x * x + y * y;
  const double k1 = photo["k1"], p2 = photo["p2"], fx = photo["fx"], cx = photo["cx"];
  const double u = fx * (x * (1 + k1 * r2) + p2 * (r2 + 2 * x * x)) + cx;
  EXPECT_NEAR(scan_.photos[geometry::PhotoIndex(1)].project(p).x(), u, 1e-9);
}

TEST_F(ScanDocument, EveryMissingKeyIsNamed) {
  for (const char* file : {"cameras.json", "scan.json"}) {
    const json good = read(file);
    std::vector<json::json_pointer> keys;
    const json flat = good.flatten();
    for (const auto& [path, value] : flat.items()) {
      const json::json_pointer at(path);
      const bool wanted = !at.back().empty() && !std::isdigit(static_cast<unsigned char>(at.back()[0]));
      if (wanted && at.back() != "crc32") keys.push_back(at);  // earlier versions wrote none
    }
    EXPECT_GT(keys.size(), 5u);
    for (const json::json_pointer& key : keys) {
      json bad = good;
      bad[key.parent_pointer()].erase(key.back());
      put(file, bad);
      const std::string what = refused();
      EXPECT_NE(what.find(std::string(file) + ": "), std::string::npos) << key.to_string() << ": " << what;
      EXPECT_NE(what.find("\"" + key.back() + "\" is missing"), std::string::npos) << what;
    }
    put(file, good);
  }
  EXPECT_EQ(refused(), "");
}

TEST_F(ScanDocument, WrongValuesAreRefused) {
  const auto try_one = [&](const char* file, const char* pointer, const json& value, const char* says) {
    const json good = read(file);
    json bad = good;
    bad[json::json_pointer(pointer)] = value;
    put(file, bad);
    EXPECT_NE(refused().find(says), std::string::npos) << pointer << ": " << refused();
    put(file, good);
  };
  try_one("scan.json", "/format", "interstice-fit", "scan.json: format: this is not a scan file");
  try_one("scan.json", "/version", 2, "scan.json: version: only version 1 is understood");
  try_one("scan.json", "/photos/1/width", 641, "p1.jpg has changed since the scan");
  try_one("scan.json", "/photos/1/file", (folder_ / "gone.jpg").string(), "its photo gone.jpg is not");
  try_one("scan.json", "/photos/1/file", "..", "photos[1].file: is not the name of a file");
  try_one("scan.json", "/photos/0/covariance", json::array({1, 2}), "covariance: needs 28 numbers");
  try_one("scan.json", "/points/1", json::array({1, 2}), "points[1]: needs 3 numbers");
  try_one("cameras.json", "/photos/0/name", "other", "photos[0]: does not match scan.json");
  try_one("cameras.json", "/photos/0/rotation/0/0", 0.5, "photos[0].rotation: is not a rotation");
  try_one("cameras.json", "/photos/0/fx", -3, "photos[0].fx");
  try_one("cameras.json", "/photos", json::array(), "does not match cameras.json");
}

TEST_F(ScanDocument, MissingOrCutFilesAreRefused) {
  for (const char* file : {"cameras.json", "scan.json"}) {
    const std::string good = core::read_file(folder_ / file);
    for (std::size_t n = 0; n + 2 < good.size(); n += 97) {
      core::write_file_atomically(folder_ / file, good.substr(0, n));
      EXPECT_NE(refused().find(file), std::string::npos) << n;
    }
    fs::remove(folder_ / file);
    EXPECT_NE(refused().find(std::string(file) + ": no such file"), std::string::npos);
    core::write_file_atomically(folder_ / file, good);
  }
}

// Turning the bowl frame changes no picture: the same point, named in the new frame, lands on the same pixel.
TEST_F(ScanDocument, TurningKeepsThePictures) {
  const double angle = 0.61;
  scan::Scan turned = scan::turned(scan_, angle);
  for (std::size_t k = 0; k < scan_.points.size(); ++k) {
    for (std::size_t i = 0; i < 2; ++i) {
      EXPECT_LT((turned.photos[geometry::PhotoIndex(i)].project(turned.points[k]) -
                 scan_.photos[geometry::PhotoIndex(i)].project(scan_.points[k]))
                    .norm(),
                1e-9);
    }
  }
  // The new x axis lies at the angle in the old frame.
  turned.points = {Vector3d(std::cos(angle), std::sin(angle), 2)};
  EXPECT_LT((scan::turned(turned, angle).points[0] - Vector3d(1, 0, 2)).norm(), 1e-12);
}

}  // namespace
}  // namespace interstice
