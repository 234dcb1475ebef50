// The real program: cards and lens, what they print, how they exit and what they leave behind.
#include <gtest/gtest.h>
#include <sys/wait.h>

#include <cstdlib>
#include <nlohmann/json.hpp>

#include "camera/lens.h"
#include "camera/photo.h"
#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;
namespace fs = std::filesystem;

struct Ran {
  int code = -1;
  std::string out, err;
};

Ran run(const std::string& arguments, const TemporaryFolder& folder) {
  const std::string command = std::string(INTERSTICE_PROGRAM) + " " + arguments + " >'" +
                              (folder / "out").string() + "' 2>'" + (folder / "err").string() + "'";
  const int status = std::system(command.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, bytes_of(folder / "out"), bytes_of(folder / "err")};
}

std::string quoted(const fs::path& path) {
  return "'" + path.string() + "'";
}

fs::path demo_photos() {
  return fs::path(INTERSTICE_SOURCE_DIR) / "datasets/lens/photos";
}

bool is_one_line(const std::string& text) {
  return !text.empty() && text.find('\n') == text.size() - 1 && text.rfind("interstice: ", 0) == 0;
}

TEST(LensCommand, WritesALensThePhotosOfThisCameraTake) {
  const TemporaryFolder folder;
  const auto file = folder / "W1.lens.json";
  const Ran ran = run("lens " + quoted(demo_photos()) + " --check-line 150 --out " + quoted(file), folder);
  EXPECT_EQ(ran.code, 0) << ran.err;
  EXPECT_EQ(ran.err, "");
  for (const char* said :
       {"13 of 13 photos used", "RMS", "% of the frame covered", "standard deviation", "fx", "k3"}) {
    EXPECT_NE(ran.out.find(said), std::string::npos) << said << "\n" << ran.out;
  }
  const camera::Lens lens = camera::read_lens(file);
  EXPECT_EQ(lens.camera, "Wader W1");
  EXPECT_NO_THROW(lens.scaled_to(4032, 3024));

  // The machine-readable output is the same lens; the same photos give the same bytes, whatever the threads.
  const std::string first = bytes_of(file);
  const Ran json = run("lens " + quoted(demo_photos()) + " --json --threads 1 --out " + quoted(file), folder);
  EXPECT_EQ(nlohmann::json::parse(json.out).at("fx").get<double>(), lens.fx);
  EXPECT_EQ(bytes_of(file), first);
}

TEST(LensCommand, TheShippedLensIsTheOneThisProgramMakes) {
  const TemporaryFolder folder;
  const Ran ran =
      run("lens --quiet " + quoted(demo_photos()) + " --out " + quoted(folder / "W1.lens.json"), folder);
  ASSERT_EQ(ran.code, 0);
  EXPECT_EQ(ran.out, "");
  const camera::Lens made = camera::read_lens(folder / "W1.lens.json");
  const camera::Lens shipped =
      camera::read_lens(fs::path(INTERSTICE_SOURCE_DIR) / "datasets/plover/W1.lens.json");
  const camera::LensVector off = (made.parameters() - shipped.parameters()).cwiseQuotient(shipped.sd);
  EXPECT_LT(off.cwiseAbs().maxCoeff(), 0.1);  // of a standard deviation: rounding of another machine
}

TEST(LensCommand, RefusalsAreOneLineWithTheRightCodeAndLeaveTheOldFile) {
  const TemporaryFolder folder;
  const auto file = folder / "old.lens.json";
  const std::string old = "{\"format\": \"interstice-lens\", \"version\": 1}";  // an earlier result
  write_bytes(file, old);
  fs::create_directory(folder / "empty");
  fs::create_directory(folder / "three");
  for (const char* name : {"photo_01.jpg", "photo_02.jpg", "photo_03.jpg"}) {
    fs::copy_file(demo_photos() / name, folder / "three" / name);
  }
  write_bytes(folder / "cut.jpg", bytes_of(demo_photos() / "photo_01.jpg").substr(0, 30000));
  fs::create_directory(folder / "plain");
  for (int i = 0; i < 6; ++i) {
    fs::copy_file(fs::path(INTERSTICE_SOURCE_DIR) / "datasets/lens/photos/photo_01.jpg",
                  folder / "plain" / ("same_" + std::to_string(i) + ".jpg"));
  }
  const std::vector<std::tuple<fs::path, int, std::string>> cases = {
      {folder / "nowhere", 2, "no such file or folder"},
      {folder / "empty", 2, "holds no photo"},
      {folder / "cut.jpg", 2, "cut short"},
      {folder / "three", 3, "only 3 usable photos"},
      {folder / "plain", 3, "too alike"}};
  for (const auto& [photos, code, said] : cases) {
    const Ran ran = run("lens " + quoted(photos) + " --out " + quoted(file), folder);
    EXPECT_EQ(ran.code, code) << said;
    EXPECT_TRUE(is_one_line(ran.err)) << ran.err;
    EXPECT_NE(ran.err.find(said), std::string::npos) << ran.err;
    EXPECT_EQ(ran.out, "");
    EXPECT_EQ(bytes_of(file), old);
  }
  const Ran ran =
      run("lens " + quoted(demo_photos()) + " --out " + quoted(folder / "no such/place.json"), folder);
  EXPECT_EQ(ran.code, 2);
  EXPECT_TRUE(is_one_line(ran.err)) << ran.err;
  EXPECT_EQ(run("lens " + quoted(demo_photos()), folder).code, 2);                          // no --out
  EXPECT_EQ(run("lens --check-line 15 --out a " + quoted(demo_photos()), folder).code, 2);  // cm for mm
}

TEST(CardsCommand, WritesThePdfOrNothing) {
  const TemporaryFolder folder;
  const auto file = folder / "cards.pdf";
  const Ran ran = run("cards --out " + quoted(file), folder);
  EXPECT_EQ(ran.code, 0);
  EXPECT_NE(ran.out.find("6 cards on 3 pages"), std::string::npos) << ran.out;
  EXPECT_NE(ran.out.find("100 %"), std::string::npos);
  EXPECT_EQ(bytes_of(file).substr(0, 5), "%PDF-");
  const Ran letter = run("cards --paper Letter --count 2 --json --out " + quoted(file), folder);
  EXPECT_EQ(nlohmann::json::parse(letter.out).at("pages"), 2);
  const std::string before = bytes_of(file);
  for (const char* wrong : {"--count 0", "--count 13", "--paper a3", "--colour red"}) {
    const Ran refused = run(std::string("cards ") + wrong + " --out " + quoted(file), folder);
    EXPECT_EQ(refused.code, 2) << wrong;
    EXPECT_TRUE(is_one_line(refused.err)) << refused.err;
    EXPECT_EQ(bytes_of(file), before);
  }
}

}  // namespace
}  // namespace interstice
