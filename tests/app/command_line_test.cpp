// What is typed wrongly is answered with what was meant; help, manual pages and completions are those of the
// commands there are.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <sstream>

#include "app/console.h"
#include "app/nearest_word.h"
#include "app/run_program.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

class CommandLine : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("command_line" + std::to_string(::getpid()));
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  Ran run(const std::string& arguments) const { return run_program(arguments, folder_.string()); }
  // Standard error of a refused command line, one line.
  std::string refusal(const std::string& arguments) const {
    const Ran ran = run(arguments);
    EXPECT_EQ(ran.exit_code, 2) << arguments;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    return ran.err;
  }
  fs::path folder_;
};

TEST(LettersApart, WorkedExamples) {
  // Wagner & Fischer 1974 count changed, added and dropped letters; a swap of neighbours is one (Damerau 1964).
  // Values worked out by hand.
  EXPECT_EQ(app::letters_apart("kitten", "sitting"), 3u);
  EXPECT_EQ(app::letters_apart("inspcet", "inspect"), 1u);
  EXPECT_EQ(app::letters_apart("", "plan"), 4u);
  EXPECT_EQ(app::letters_apart("ca", "abc"), 3u);  // each letter is touched once
  for (const std::string a : {"pour", "report", "lens"}) {
    for (const std::string b : {"plan", "scan", "fit"})
      EXPECT_EQ(app::letters_apart(a, b), app::letters_apart(b, a));
  }
  EXPECT_EQ(app::nearest_word("archvie", {"report", "archive"}), "archive");
  EXPECT_FALSE(app::nearest_word("zzzzzz", {"report", "archive"}));
}

TEST(StageLine, CountsAndTellsTheTimeLeft) {
  // A fifth done in 20 s: four times as long is left.
  EXPECT_EQ(app::stage_line("finding the form", 3, 12, 0.2, 20),
            "3 of 12: finding the form, about 80 s left");
  EXPECT_EQ(app::stage_line("finding the form", 3, 12, 0.2, 60),
            "3 of 12: finding the form, about 4 min left");
  EXPECT_EQ(app::stage_line("reading", 1, 12, 0.05, 60), "1 of 12: reading");
  EXPECT_EQ(app::stage_line("writing", 12, 12, 0.96, 60), "12 of 12: writing");
  double scan = 0;
  for (const app::Stage& stage : app::inspect_stages()) scan += stage.share;
  EXPECT_NEAR(scan, 100, 3);
}

// The stages are those that the program reports: a run asked for its progress names each, in this order.
TEST_F(CommandLine, StagesAreThoseReported) {
  const std::string plover = INTERSTICE_SOURCE_DIR "/datasets/plover";
  const Ran ran = run("scan " + plover + "/photos --plan " + plover + "/plan.json --progress --out " +
                      (folder_ / "scan").string());
  ASSERT_EQ(ran.exit_code, 0) << ran.err;
  std::string expected;
  for (const app::Stage& stage : app::scan_stages()) expected += stage.name + "\n";
  EXPECT_EQ(ran.err, expected);
}

TEST_F(CommandLine, SlipsAreAnsweredWithWhatWasMeant) {
  EXPECT_NE(refusal("inspcet photos").find("did you mean interstice inspect?"), std::string::npos);
  EXPECT_NE(refusal("plan traec photos").find("did you mean interstice plan trace?"), std::string::npos);
  EXPECT_NE(refusal("inspect photos --chekc-line 150").find("did you mean --check-line?"), std::string::npos);
  EXPECT_NE(refusal("qqqqqqqqq").find("--help lists them"), std::string::npos);
}

TEST_F(CommandLine, CentimetresAreAskedAboutAndCommasUnderstood) {
  const std::string rest = " --out " + (folder_ / "out").string() + " --plan nothing.json photos";
  EXPECT_NE(
      refusal("inspect --check-line 14.8" + rest).find("centimetres? The line is given in millimetres: 148"),
      std::string::npos);
  EXPECT_NE(refusal("inspect --check-line=14,8" + rest).find("148"), std::string::npos);
  // Understood: the next thing that is wrong is the plan.
  for (const std::string option : {"--check-line 149,6", "--check-line=149,6", "--check-line 149.6"})
    EXPECT_NE(refusal("inspect " + option + rest).find("nothing.json"), std::string::npos) << option;
  EXPECT_NE(refusal("inspect --check-line 1,49,6" + rest).find("1,49,6"), std::string::npos);
}

TEST_F(CommandLine, HelpFitsATerminalAndSaysWhatMustBeGiven) {
  const Ran ran = run("inspect --help");
  EXPECT_EQ(ran.exit_code, 0);
  EXPECT_NE(ran.out.find("--plan NAME"), std::string::npos);
  EXPECT_LT(ran.out.find("(must be given)"), ran.out.find("Options of every command"));
  std::istringstream lines(ran.out);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 100u) << line;
}

TEST_F(CommandLine, TextsForInstallingNameEveryCommand) {
  ASSERT_EQ(run("texts " + (folder_ / "texts").string()).exit_code, 0);
  const std::string help = slurp((folder_ / "texts/help.md").string());
  EXPECT_EQ(help, slurp(INTERSTICE_SOURCE_DIR "/.docs/help.md")) << "interstice texts FOLDER makes it anew";
  for (const std::string command : {"cards", "lens", "plan make", "inspect", "pour", "archive verify"})
    EXPECT_NE(help.find("## interstice " + command + "\n"), std::string::npos) << command;
  EXPECT_TRUE(fs::exists(folder_ / "texts/interstice-archive.1"));
  // The shell itself is asked, as one who presses the tabulator key.
  const std::string ask =
      "bash -c 'source " + (folder_ / "texts/interstice.bash").string() +
      "; COMP_WORDS=(interstice plan ma); COMP_CWORD=2; _interstice; echo ${COMPREPLY[@]}' > " +
      (folder_ / "found").string();
  ASSERT_EQ(std::system(ask.c_str()), 0);
  EXPECT_EQ(slurp((folder_ / "found").string()), "make\n");
}

}  // namespace
}  // namespace interstice
