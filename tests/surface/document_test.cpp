// A measured surface as files.
#include "surface/surface_document.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>

#include "core/errors.h"
#include "core/files.h"
#include "surface/shell_plan.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

class SurfaceDocument : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_surface_" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_);
    surface_.form = testing_plan::dome(100.0 / 3, 30);
    surface_.heights.grid = {1.0, 20};
    surface_.heights.height = cv::Mat(41, 41, CV_32F);
    surface_.heights.agreement = cv::Mat(41, 41, CV_32F);
    cv::RNG rng(1);
    rng.fill(surface_.heights.height, cv::RNG::UNIFORM, -2, 20);
    rng.fill(surface_.heights.agreement, cv::RNG::UNIFORM, -1, 1);
    surface_.heights.height.at<float>(3, 4) = NAN;
    surface_.ortho_grid = {0.5, 40};
    surface_.ortho = cv::Mat(81, 81, CV_8UC3, cv::Scalar(1, 2, 3));
    surface_.turn = {0.7 / 3, 0.6, 9.5};
    surface::write_surface(surface_, folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::string refused() {
    try {
      surface::read_surface(folder_);
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  }

  fs::path folder_;
  surface::Surface surface_;
};

TEST_F(SurfaceDocument, ReadsWhatWasWritten) {
  const surface::Surface back = surface::read_surface(folder_);
  EXPECT_TRUE(back.form.points() == surface_.form.points());
  EXPECT_EQ(back.heights.grid.centre, 20);
  EXPECT_EQ(back.ortho_grid.step_mm, 0.5);
  EXPECT_NEAR(back.turn.angle, surface_.turn.angle, 1e-15);
  EXPECT_EQ(back.turn.explained, 0.6);
  for (int r = 0; r < 41; ++r) {
    for (int c = 0; c < 41; ++c) {
      const float want = surface_.heights.height.at<float>(r, c), got = back.heights.height.at<float>(r, c);
      EXPECT_TRUE(want == got || (std::isnan(want) && std::isnan(got)));
      EXPECT_EQ(surface_.heights.agreement.at<float>(r, c), back.heights.agreement.at<float>(r, c));
    }
  }
}

TEST_F(SurfaceDocument, BadDocumentsAreRefused) {
  const std::string good = core::read_file(folder_ / "surface.json");
  const auto try_one = [&](const char* pointer, const json& value, const char* says) {
    json bad = json::parse(good);
    bad[json::json_pointer(pointer)] = value;
    core::write_file_atomically(folder_ / "surface.json", bad.dump());
    EXPECT_NE(refused().find(says), std::string::npos) << refused();
  };
  try_one("/format", "other", "surface.json: format: this is not a surface file");
  try_one("/version", 9, "surface.json: version: only version 1 is understood");
  try_one("/grid_centre", 21, "heights.tif: is not the grid that surface.json describes");
  try_one("/grid_step_mm", 0, "surface.json: grid_step_mm: 0 is outside");
  try_one("/form_profile/0", json::array({5, 5}), "surface.json: form_profile: a profile starts at the pole");
  try_one("/form_profile/3", json::array({5}), "surface.json: form_profile[3]: needs 2 numbers");
  try_one("/form_profile", json::array(), "form_profile");
  for (std::size_t n = 0; n + 2 < good.size(); n += 61) {
    core::write_file_atomically(folder_ / "surface.json", good.substr(0, n));
    EXPECT_NE(refused().find("surface.json: not valid JSON"), std::string::npos);
  }
}

TEST_F(SurfaceDocument, BadPicturesAreRefused) {
  for (const char* name : {"heights.tif", "agreement.tif"}) {
    const std::string good = core::read_file(folder_ / name);
    for (const std::string& bad : {std::string(), std::string("not a picture"),
                                   good.substr(0, good.size() / 2), core::read_file(folder_ / "ortho.png")}) {
      core::write_file_atomically(folder_ / name, bad);
      EXPECT_NE(refused().find(name), std::string::npos) << bad.size() << " " << refused();
    }
    fs::remove(folder_ / name);
    EXPECT_NE(refused().find(std::string(name) + ": no such file"), std::string::npos);
    core::write_file_atomically(folder_ / name, good);
  }
  EXPECT_EQ(refused(), "");
}

}  // namespace
}  // namespace interstice
