// `plan` and its sub-commands on bad files and options: exit code 2 or 3, one clear line, nothing written.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "app/run_program.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

class PlanInput : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_plan_" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_ / "folder");
    write("form.csv", "r,z\n0,70\n50,60\n80,0\n");
    write("crossing.csv", "r,z\n0,70\n50,60\n30,70\n60,50\n20,40\n80,0\n");
    write("no_pole.csv", "r,z\n10,70\n50,60\n80,0\n");
    write("words.csv", "hello\n");
    write("empty.csv", "");
    write("metres.csv", "0,0.07\n0.05,0.06\n0.08,0\n");
    write("cut.svg", "<svg><path d=\"M0 0\"");
    write("cut.dxf", "0\nSECTION\n");
    const std::string plan = slurp(std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover/plan.json");
    write("plan.json", plan);
    write("cut.json", plan.substr(0, plan.size() / 2));
    write("bare.json", "{\"units\":\"mm\"}");
    write("photo.png", "not a picture");
    write("photo.json", "{\"mm_per_px\":0.25,\"cx\":1,\"cy\":1}");
    write("lonely.png", "not a picture");
    write("labels.csv", "Z9,A1\n");
    before_ = names();
  }
  void TearDown() override { fs::remove_all(folder_); }
  void write(const std::string& name, const std::string& text) const {
    std::ofstream(folder_ / name, std::ios::binary) << text;
  }
  std::set<std::string> names() const {
    std::set<std::string> found;
    for (const auto& entry : fs::recursive_directory_iterator(folder_)) {
      const std::string name = entry.path().filename();
      if (name != "stdout" && name != "stderr") found.insert(name);
    }
    return found;
  }
  void refused(const std::string& arguments, const std::string& says, int exit_code = 2) const {
    const std::string there = "cd " + folder_.string() + " && ";
    const std::string line = there + std::string(INTERSTICE_PROGRAM) + " plan " + arguments + " >" +
                             (folder_ / "stdout").string() + " 2>" + (folder_ / "stderr").string();
    const int status = std::system(line.c_str());
    const std::string err = slurp((folder_ / "stderr").string());
    EXPECT_EQ(WIFEXITED(status) ? WEXITSTATUS(status) : -1, exit_code) << arguments << ": " << err;
    EXPECT_EQ(std::count(err.begin(), err.end(), '\n'), 1) << arguments << ": " << err;
    EXPECT_EQ(err.substr(0, 12), "interstice: ") << err;
    EXPECT_NE(err.find(says), std::string::npos) << arguments << ": " << err;
    EXPECT_EQ(slurp((folder_ / "stdout").string()), "") << arguments;
    EXPECT_EQ(names(), before_) << arguments;
  }

  fs::path folder_;
  std::set<std::string> before_;
};

TEST_F(PlanInput, WithoutASubCommand) {
  refused("", "say what to do: form, make, trace, paper, patterns, check or draw");
  refused("polish", "");
}

TEST_F(PlanInput, Forms) {
  refused("form crossing.csv --out o.json", "crossing.csv: the profile crosses itself");
  refused("form no_pole.csv", "no_pole.csv: the profile does not reach the pole");
  refused("form words.csv", "words.csv: holds no numbers");
  refused("form empty.csv", "empty.csv: holds no numbers");
  refused("form metres.csv", "metres.csv: the form would be only 0.16 mm across: wrong units?");
  refused("form cut.svg", "cut.svg: not readable as SVG");
  refused("form cut.dxf", "cut.dxf: not a whole DXF text file");
  refused("form nowhere.csv", "nowhere.csv: no such file");
  refused("form folder", "folder: holds no photo");
  refused("form folder --out form.csv", "form.csv");
  refused("form folder --check-line 15", "--check-line");
  refused("form form.csv --unit furlong", "--unit: \"furlong\" is not one of cm, in, mm");
  refused("form form.csv --out nowhere/o.json",
          "nowhere/o.json: cannot be written: there is no folder nowhere");
}

TEST_F(PlanInput, Layouts) {
  refused("make form.csv --out o.json --piece-size 5", "the piece size is 5; it must lie between");
  refused("make form.csv --out o.json --piece-size abc", "--piece-size");
  refused("make form.csv --out o.json --thickness -2", "thickness is -2");
  refused("make form.csv --out o.json --irregular 3", "--irregular: \"3\" is not a number from 0 to 1");
  refused("make form.csv --out folder", "folder: is a folder; name a file to write");
  refused("make form.csv --out nowhere/o.json", "there is no folder nowhere");
  refused("make form.csv --out o.json --gap-from nowhere", "nowhere: ");
  refused("make form.csv", "--out");
  refused("make form.csv --form form.csv --out o.json", "form.csv: is no folder of photos");
  refused("make folder --form words.csv --out o.json", "words.csv: holds no numbers");
}

TEST_F(PlanInput, Traces) {
  refused("trace nowhere --form form.csv --out o.json", "nowhere: no such folder of photos or picture");
  refused("trace folder --form form.csv --out o.json", "folder: holds no photo");
  refused("trace lonely.png --form form.csv --out o.json", "lonely.json: no such file");
  refused("trace photo.png --form form.csv --out o.json", "photo.png: is not a picture this program reads");
  refused("trace photo.png --form words.csv --out o.json", "words.csv: holds no numbers");
  refused("trace folder --out o.json", "folder: holds no photo");
  refused("trace photo.png --out o.json", "photo.png: is a picture, not a folder of photos: it needs --form");
  refused("trace folder --form form.csv --out nowhere/o.json", "there is no folder nowhere");
  refused("trace folder --form form.csv --out o.json --lines curly",
          "\"curly\" is not one of decide, own, shared");
}

TEST_F(PlanInput, PatternsChecksAndDrawings) {
  refused("patterns cut.json --out o.pdf", "cut.json: not valid JSON near byte");
  refused("patterns bare.json --out o.pdf", "bare.json: \"profile\" is missing");
  refused("patterns plan.json --out o.xyz", "o.xyz: the name must end in");
  refused("patterns plan.json --out o.pdf --sheet a9", "the sheet \"a9\" is not understood");
  refused("patterns plan.json --out o.pdf --board 40x40", "the sheet \"40x40\" is not understood");
  refused("patterns plan.json --out o.svg --sheet 80x85", "does not fit a sheet of 80x85");
  refused("patterns plan.json --out folder", "folder: is a folder; name a file to write");
  refused("check folder", "folder: is a folder, a file is needed");
  refused("check plan.json --board fish", "\"fish\" is not understood");
  refused("check plan.json --smallest-fill 0", "--smallest-fill: \"0\" is not a number from");
  refused("draw plan.json --out o.jpg", "o.jpg: the name must end in");
  refused("draw plan.json --out o.svg --view side",
          "--view: \"side\" is not one of bands, gores, map, sides");
  refused("draw plan.json --out o.svg --view gores --gores 2", "--gores: \"2\" is not a number from 4 to 96");
  refused("draw cut.json --out o.svg", "cut.json: not valid JSON");
}

}  // namespace
}  // namespace interstice
