// Bad input: the right exit code, one clear line, nothing half-written, nothing lost.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "app/run_program.h"
#include "core/result_list.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
const std::string kData = std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover";

class BadInput : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_" + std::to_string(::getpid()) + "_" +
                                              testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::remove_all(folder_);
    fs::create_directories(folder_ / "photos");
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::string path(const std::string& name) const { return (folder_ / name).string(); }

  // The exit code and exactly one line that says `says`; no result and no leftovers under the output's name.
  void refused(const std::string& arguments, int exit_code, const std::string& says) {
    const Ran ran = run_program(arguments, folder_.string());
    EXPECT_EQ(ran.exit_code, exit_code) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_NE(ran.err.find(says), std::string::npos) << ran.err;
    EXPECT_EQ(ran.out, "");
    for (const auto& entry : fs::directory_iterator(folder_)) {
      const std::string name = entry.path().filename();
      EXPECT_TRUE(name == "photos" || name == "stdout" || name == "stderr" || name == "plan.json" ||
                  name == "kept")
          << name;
    }
  }
  std::string inspect(const std::string& photos, const std::string& plan, const std::string& out) const {
    return "inspect " + photos + " --plan " + plan + " --out " + out;
  }

  fs::path folder_;
};

TEST_F(BadInput, NoCommand) {
  refused("", 2, "interstice: ");
}
TEST_F(BadInput, UnknownCommand) {
  refused("polish", 2, "interstice: ");
}
TEST_F(BadInput, MissingOptions) {
  refused("inspect " + path("photos"), 2, "--plan");
}
TEST_F(BadInput, MissingPlan) {
  refused(inspect(kData + "/photos", path("nowhere.json"), path("out")), 2, "nowhere.json: no such file");
}
TEST_F(BadInput, MissingFolder) {
  refused(inspect(path("nowhere"), kData + "/plan.json", path("out")), 2, "nowhere");
}
TEST_F(BadInput, EmptyFolder) {
  refused(inspect(path("photos"), kData + "/plan.json", path("out")), 2, "no photo");
}

TEST_F(BadInput, SelfCrossingOutline) {
  auto plan = nlohmann::json::parse(slurp(kData + "/plan.json"));
  auto& outline = plan["tiles"][5]["outline"];
  std::swap(outline[outline.size() / 4], outline[outline.size() / 2]);
  std::ofstream(path("plan.json")) << plan;
  refused(inspect(kData + "/photos", path("plan.json"), path("out")), 2,
          "tiles[5].outline: the outline crosses itself");
}

TEST_F(BadInput, TruncatedPlan) {
  const std::string text = slurp(kData + "/plan.json");
  std::ofstream(path("plan.json")) << text.substr(0, text.size() / 2);
  refused(inspect(kData + "/photos", path("plan.json"), path("out")), 2, "plan.json: not valid JSON");
}

TEST_F(BadInput, TruncatedPhoto) {
  const std::string jpeg = slurp(kData + "/photos/photo_01.jpg");
  std::ofstream(path("photos/cut.jpg"), std::ios::binary) << jpeg.substr(0, jpeg.size() / 2);
  refused(inspect(path("photos"), kData + "/plan.json", path("out")), 2, "cut short");
}

TEST_F(BadInput, UnrelatedPhotos) {
  for (int i = 0; i < 3; ++i) {
    cv::Mat picture(480, 640, CV_8UC3);
    cv::theRNG().state = 77u + unsigned(i);
    cv::randu(picture, 0, 255);
    cv::imwrite(path("photos/a" + std::to_string(i) + ".jpg"), picture);
  }
  refused(inspect(path("photos"), kData + "/plan.json", path("out")), 3, "card");
}

TEST_F(BadInput, NoPicturesAmongTheFiles) {
  std::ofstream(path("photos/notes.txt")) << "ring three glued";
  refused(inspect(path("photos"), kData + "/plan.json", path("out")), 2, "holds no photo");
  std::ofstream(path("photos/p.jpg")) << "not a picture";
  refused(inspect(path("photos"), kData + "/plan.json", path("out")), 2, "none of its photos can be read");
}

TEST_F(BadInput, AFileWhereAFolderIsNeededAndTheOtherWayRound) {
  refused(inspect(kData + "/plan.json", kData + "/plan.json", path("out")), 2, "plan.json: is a file");
  refused(inspect(kData + "/photos", kData + "/photos", path("out")), 2, "photos: is a folder");
}

// The place for the result is looked at before the photos are: nobody waits minutes to be refused.
TEST_F(BadInput, TheResultCannotBeWritten) {
  std::ofstream(path("kept")) << "mine";
  refused(inspect(kData + "/photos", kData + "/plan.json", path("kept")), 2, "kept: is a file");
  refused(inspect(kData + "/photos", kData + "/plan.json", path("kept/out")), 2, "kept/out: cannot be made");
  refused(inspect(kData + "/photos", kData + "/plan.json", "/proc/out"), 2, "/proc/out: cannot be made");
  EXPECT_EQ(slurp(path("kept")), "mine");
}

TEST_F(BadInput, OptionsOutOfRange) {
  const std::string good = inspect(kData + "/photos", kData + "/plan.json", path("out"));
  refused(good + " --lens " + path("nowhere.json"), 2, "nowhere.json: no such file");
  refused(good + " --lens " + kData + "/plan.json", 2, "plan.json: ");
  refused(good + " --check-line 15", 2, "--check-line");
  refused(good + " --check-line wide", 2, "--check-line");
  refused(good + " --check-line nan", 2, "--check-line");
  refused(good + " --smallest-fill -3", 2, "--smallest-fill");
  refused(good + " --threads -1", 2, "--threads");
  refused(good + " --polish", 2, "--polish");
}

// A word that is none of an option's is answered with those it takes.
TEST_F(BadInput, WordsThatAnOptionDoesNotKnow) {
  const std::string plan = " --plan " + kData + "/plan.json --out ";
  refused("cards --paper a3 --out " + path("cards.pdf"), 2, "--paper: \"a3\" is not one of a4, letter");
  refused("fit " + path("photos") + plan + path("fit.json") + " --prefer glue", 2,
          "--prefer: \"glue\" is not one of least, move, sand");
  refused("report " + path("photos") + " --paper a3 --out " + path("page.html"), 2,
          "--paper: \"a3\" is not one of a4, letter");
}

TEST_F(BadInput, OtherCommandsRefuseAlike) {
  const std::string plan = " --plan " + kData + "/plan.json --out ";
  refused("scan " + path("photos") + plan + path("out"), 2, "holds no photo");
  refused("fit " + path("photos") + plan + path("out.json"), 2, "photos/");
  refused("pour " + path("nowhere.json") + plan + path("out.json"), 2, "nowhere.json: no such file");
  refused("pour " + kData + "/plan.json" + plan + path("out.json"), 2, "plan.json: ");
}

// Control characters in a file's name stay out of the terminal and the message stays one line.
TEST_F(BadInput, AStrangeFileName) {
  refused(inspect("\"$(printf 'two\\nlines\\033[31m')\"", kData + "/plan.json", path("out")), 2,
          "two\\x0alines\\x1b[31m");
}

TEST_F(BadInput, AFolderWithOtherFilesIsLeftAlone) {
  fs::create_directories(folder_ / "kept");
  std::ofstream(path("kept/letter.txt")) << "mine";
  refused(inspect(kData + "/photos", kData + "/plan.json", path("kept")), 2, "holds letter.txt");
  EXPECT_EQ(slurp(path("kept/letter.txt")), "mine");
}

TEST_F(BadInput, AnEarlierResultSurvivesAFailure) {
  fs::create_directories(folder_ / "kept");
  std::ofstream(path("kept/fit.json")) << "earlier";
  std::ofstream(path("kept/result.json"))
      << core::write_result_list({"inspect", "plover", core::files_to_list(path("kept"))});
  refused(inspect(path("photos"), kData + "/plan.json", path("kept")) + " --replace", 2, "no photo");
  EXPECT_EQ(slurp(path("kept/fit.json")), "earlier");
}

}  // namespace
}  // namespace interstice
