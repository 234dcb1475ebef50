// `refill` on what is not the poured shell it was told of: the right exit code, one line that says what it is or
// what to do, and nothing written. Needs the demo scan measured (results/plover).
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "app/run_program.h"
#include "renderer/scan_folder.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
const std::string kDatasets = std::string(INTERSTICE_SOURCE_DIR) + "/datasets";
const std::string kDryResult = std::string(INTERSTICE_RESULTS) + "/plover";

class RefillInput : public testing::Test {
 protected:
  void SetUp() override {
    ASSERT_TRUE(fs::exists(kDryResult + "/fit.json")) << "plover_tests writes it";
    folder_ = fs::path(testing::TempDir()) / ("interstice_refill_" + std::to_string(::getpid()));
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::string path(const std::string& name) const { return (folder_ / name).string(); }

  void refused(const std::string& photos, const std::string& after, int exit_code,
               const std::string& says) const {
    const Ran ran =
        run_program("refill " + photos + " --after " + after + " --check-line 150 --out " + path("out"),
                    folder_.string());
    EXPECT_EQ(ran.exit_code, exit_code) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_NE(ran.err.find(says), std::string::npos) << ran.err;
    EXPECT_EQ(ran.out, "");
    EXPECT_FALSE(fs::exists(path("out")));
  }

  // The dry result with its plan changed.
  std::string with_plan(const std::function<void(nlohmann::json&)>& change) const {
    fs::create_directories(path("after"));
    fs::copy_file(kDryResult + "/fit.json", path("after/fit.json"), fs::copy_options::overwrite_existing);
    nlohmann::json plan = nlohmann::json::parse(slurp(kDryResult + "/plan.json"));
    change(plan);
    std::ofstream(path("after/plan.json")) << plan.dump();
    return path("after");
  }

  fs::path folder_;
};

TEST_F(RefillInput, ThreePhotos) {
  fs::create_directories(path("three"));
  for (const char* name : {"photo_01.jpg", "photo_07.jpg", "photo_14.jpg"})
    fs::copy_file(kDatasets + "/plover/photos/" + name, path("three") + "/" + name);
  refused(path("three"), kDryResult, 3, "only 3 photos show cards that connect; take at least 8 photos");
}

TEST_F(RefillInput, FoldersThatAreNot) {
  fs::create_directories(path("empty"));
  refused(path("empty"), kDryResult, 2, "empty: holds no photo");
  refused(kDatasets + "/plover/photos", path("empty"), 2,
          "empty: holds no fit.json; --after takes the folder");
  refused(path("nowhere"), kDryResult, 2, "nowhere: no such folder");
}

// Told before minutes of work.
TEST_F(RefillInput, APlanThatIsNotTheResultsOwn) {
  const std::string photos = kDatasets + "/plover/photos";
  refused(photos, with_plan([](nlohmann::json& plan) { plan["tiles"].erase(plan["tiles"].size() - 1); }), 2,
          "fit.json: the fit has 57 pieces and the plan 56");
  refused(photos, with_plan([](nlohmann::json& plan) { plan["tiles"][0]["label"] = "Z9"; }), 2,
          "fit.json: piece 1 is \"");
}

TEST_F(RefillInput, CardsWithoutAShell) {
  refused(kDatasets + "/lens/photos", kDryResult, 3, "the form was not found on the bench");
}

// Another shell on another form: a small cup, photographed for the purpose.
TEST_F(RefillInput, AnotherShell) {
  renderer::SceneOptions o = renderer::preset("cup");
  o.camera.width_px = 1280, o.camera.height_px = 960;
  o.camera.footprint_mm = 0.42;
  o.camera.photos = 14;
  o.sampling = {1, 2, 8, 2, 1};
  renderer::write_scan_folder(renderer::make_scene(o), folder_ / "cup");
  refused(path("cup/photos"), kDryResult, 3, "not found");
}

// The shell before the pour: nothing but open seams.
TEST_F(RefillInput, TheDryShell) {
  refused(kDatasets + "/plover/photos --lens " + kDatasets + "/plover/W1.lens.json", kDryResult, 3,
          "the seams stand open in these photos");
}

}  // namespace
}  // namespace interstice
