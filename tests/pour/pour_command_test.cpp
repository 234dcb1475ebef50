// The real program: exit codes, files and words.
#include <gtest/gtest.h>
#include <sys/wait.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "channels/true_fit.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "seams/fit_document.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

class PourCommand : public ::testing::Test {
 protected:
  void SetUp() override {
    const auto folder = testing::scan_folder("plover");
    if (!folder) GTEST_SKIP() << "scan plover is not here";
    plan_ = (*folder / "plan.json").string();
    std::string pattern = (fs::temp_directory_path() / "pour_test_XXXXXX").string();
    ASSERT_NE(mkdtemp(pattern.data()), nullptr);
    work_ = pattern;
    const testing::TrueShell shell = testing::read_true_shell(*folder);
    core::write_file_atomically(work_ / "fit.json", seams::write_fit(testing::true_fit(shell)));
  }
  void TearDown() override {
    if (!work_.empty()) fs::remove_all(work_);
  }

  int run(const std::string& arguments) {
    const std::string command = std::string(INTERSTICE_PROGRAM) + " pour " + arguments + " > '" +
                                (work_ / "out").string() + "' 2> '" + (work_ / "err").string() + "'";
    const int status = std::system(command.c_str());
    out_ = core::read_file(work_ / "out");
    err_ = core::read_file(work_ / "err");
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  }
  std::string usual() const {
    return "'" + (work_ / "fit.json").string() + "' --plan '" + plan_ + "' --out '" +
           (work_ / "pour.json").string() + "'";
  }

  fs::path work_;
  std::string plan_, out_, err_;
};

TEST_F(PourCommand, NotReadyIsOneAndReadyIsZero) {
  EXPECT_EQ(run(usual() + " --resin '" INTERSTICE_SOURCE_DIR "/datasets/resin_example.json'"), 1) << err_;
  EXPECT_EQ(out_.rfind("plover: not ready to pour yet.", 0), 0u);
  EXPECT_NE(out_.find("degrees"), std::string::npos);
  EXPECT_NE(out_.find("gloves"), std::string::npos);
  EXPECT_TRUE(err_.empty()) << err_;
  EXPECT_EQ(core::read_json(work_ / "pour.json").at("format"), "interstice-pour");
  EXPECT_EQ(run(usual() + " --smallest-fill 0.3 --json"), 0) << err_;
  EXPECT_EQ(out_, core::read_file(work_ / "pour.json"));
  EXPECT_EQ(run(usual() + " --smallest-fill 0.3 --quiet"), 0);
  EXPECT_TRUE(out_.empty());
}

TEST_F(PourCommand, BadInputIsTwoInOneLineAndLeavesTheOldFile) {
  core::write_file_atomically(work_ / "pour.json", "old");
  core::write_file_atomically(work_ / "thin.json",
                              R"({"density_g_ml": 1100, "mixed_viscosity_mpa_s": 5, "pot_life_min": 9})");
  for (const std::string& bad :
       {std::string("--resin '" + (work_ / "thin.json").string() + "'"),
        std::string("--resin /nowhere/resin.json"), std::string("--smallest-fill -3"),
        std::string("--opening here"), std::string("--made-up")}) {
    EXPECT_EQ(run(usual() + " " + bad), 2) << bad;
    EXPECT_EQ(std::count(err_.begin(), err_.end(), '\n'), 1) << err_;
    EXPECT_TRUE(out_.empty());
    EXPECT_EQ(core::read_file(work_ / "pour.json"), "old");
  }
  EXPECT_EQ(run("'" + plan_ + "' --plan '" + plan_ + "' --out '" + (work_ / "pour.json").string() + "'"), 2);
  EXPECT_NE(err_.find("plan.json"), std::string::npos);
}

}  // namespace
}  // namespace interstice
