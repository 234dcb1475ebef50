// No file that interstice did not write ever changes or goes: 2000 worlds by chance, in each a run to a place
// by chance, undisturbed, meddled with at any of its steps, killed in front of any of its steps, on disks
// that can exchange names and on disks that cannot.
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <optional>

#include "archive/archive.h"
#include "archive/fault_calls.h"
#include "archive/sample.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/output_file.h"
#include "core/result_folder.h"
#include "keep/world.h"

namespace interstice::keep {
namespace {

// A run of the program, as far as it touches the disk.
struct Attempt {
  enum class What { folder, file, archive } what;
  fs::path out;
  std::vector<fs::path> inputs;
  std::string command, piece;
  bool replace;
  int kind;
};

Attempt some_attempt(World& world) {
  Attempt run;
  const int what = world.chance(20);
  run.what = what < 11 ? Attempt::What::folder : what < 18 ? Attempt::What::file : Attempt::What::archive;
  run.out = world.some_path();
  for (int i = world.chance(3); i > 0; --i)
    run.inputs.push_back(world.chance(2) == 0 ? world.root() / "photos" : world.some_path());
  run.command = world.chance(5) == 0 ? "scan" : "inspect";
  run.piece = world.chance(5) == 0 ? "another" : "bowl";
  run.replace = world.chance(4) != 0;
  run.kind = world.chance(4);
  return run;
}

// The line of the refusal; empty: done. Anything else than a refusal in one line is a fault of the program.
std::string carry_out(const Attempt& run, const fs::path& results) {
  try {
    core::Inputs inputs;
    for (const fs::path& input : run.inputs) inputs.add(input);
    if (run.what == Attempt::What::folder) {
      core::ResultFolder folder(run.out, {run.command, run.piece, run.replace, inputs});
      core::write_new_file(folder.work() / "fit.json", "{\"format\": \"interstice-fit\", \"new\": 1}\n");
      core::write_new_file(folder.work() / "report.html", core::FileKind::page().sealed("<html></html>\n"));
      fs::create_directory(folder.work() / "scan");
      core::write_new_file(folder.work() / "scan" / "cameras.json", "{\"new\": 1}\n");
      folder.commit();
    } else if (run.what == Attempt::What::file) {
      const core::FileKind kinds[] = {core::FileKind::json("interstice-fit"), core::FileKind::pdf(),
                                      core::FileKind::plan(), core::FileKind::svg()};
      const char* bytes[] = {"{\"format\": \"interstice-fit\"}\n", "%PDF-1.5\n%%EOF\n",
                             "{\n \"tiles\": []\n}\n", "<svg>\n</svg>\n"};
      core::OutputFile(run.out, kinds[run.kind], inputs).write(bytes[run.kind]);
    } else {
      archive::AddRequest request = sample::request(results, run.piece);
      request.photos = {run.inputs.begin(), run.inputs.end()};
      request.again = true;
      archive::Archive::open_or_make(run.out).add(request);
    }
    return "";
  } catch (const core::InputError& e) {
    return e.what();
  }
}

class RandomWorlds : public testing::Test {
 protected:
  void SetUp() override {
    const plan::Plan plan = sample::plan(1, 5);
    sample::write_results(scratch_ / "results", plan, sample::built(plan), 1);
  }
  void TearDown() override { faults::set_disk({}); }
  fs::path root() const { return fs::canonical(scratch_.path()) / "world"; }

  // In a process of its own, killed in front of step `at`; whether it was.
  bool killed(const Attempt& run, long at) const {
    const pid_t child = ::fork();
    if (child == 0) {
      faults::arm(faults::Mode::kill, at);
      try {
        carry_out(run, scratch_ / "results");
      } catch (...) {
        ::_exit(3);
      }
      ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    EXPECT_TRUE(WIFSIGNALED(status) || WEXITSTATUS(status) == 0);
    return WIFSIGNALED(status);
  }

  // Killed there, then run again: nothing of the user's is lost at either moment, and no earlier result.
  bool survives_kill(unsigned seed, long at, bool plain) {
    World world(root(), seed);
    const Attempt run = some_attempt(world);
    faults::set_disk({plain});
    const std::vector<fs::path> earlier = world.complete_results();
    const bool was_killed = killed(run, at);
    EXPECT_EQ(world.lost(), "");
    for (const fs::path& result : earlier) {
      // Without an exchange of names there is a moment without one; the next run ends it.
      EXPECT_TRUE(plain || is_complete_result(result)) << result;
    }
    const std::string line = carry_out(run, scratch_ / "results");
    EXPECT_EQ(world.lost(), "");
    for (const fs::path& result : earlier) EXPECT_TRUE(is_complete_result(result)) << result << " " << line;
    EXPECT_TRUE(!line.empty() || world.left_over().empty());
    EXPECT_FALSE(HasFailure()) << "seed " << seed << ", killed in front of step " << at
                               << (plain ? ", plain" : "");
    return was_killed;
  }

  sample::Scratch scratch_;
};

constexpr unsigned kWorlds = 2000;

TEST_F(RandomWorlds, NothingOfTheUsersIsLost) {
  int done = 0, refused = 0, kept = 0;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    const bool plain = seed % 4 == 0;
    World world(root(), seed);
    const Attempt run = some_attempt(world);
    faults::set_disk({plain});
    faults::at_call(0, {});
    std::string line = carry_out(run, scratch_ / "results");
    const long steps = faults::calls();
    EXPECT_EQ(world.lost(), "") << run.out;
    EXPECT_TRUE(world.left_over().empty()) << run.out;
    EXPECT_EQ(line.find('\n'), std::string::npos);
    if (line.empty() && run.what == Attempt::What::folder) {
      EXPECT_TRUE(is_whole_result(fs::canonical(run.out))) << run.out;
    }
    ++(line.empty() ? done : refused);
    // Once more, meddled with at some step.
    if (steps > 0) {
      faults::at_call(1 + world.chance(static_cast<int>(steps)), [&] { world.meddle(run.out); });
      line = carry_out(run, scratch_ / "results");
      faults::disarm();
      EXPECT_EQ(world.lost(), "") << run.out << ": " << line;
      EXPECT_TRUE(world.left_over().empty()) << run.out;
      kept += line.find("is kept as") != std::string::npos;
    }
    ASSERT_FALSE(HasFailure()) << "seed " << seed << (plain ? ", plain disk" : "");
  }
  faults::set_disk({});
  // The worlds are worth something only if runs end in every way.
  EXPECT_GT(done, 300);
  EXPECT_GT(refused, 300);
  EXPECT_GT(kept, 20);
  RecordProperty("done", done);
  RecordProperty("refused", refused);
  RecordProperty("kept_aside", kept);
}

TEST_F(RandomWorlds, NothingOfTheUsersIsLostUnderKills) {
  int kills = 0;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    const bool plain = seed % 4 == 0;
    long steps = 0;
    {
      World world(root(), seed);
      const Attempt run = some_attempt(world);
      faults::set_disk({plain});
      if (run.what == Attempt::What::archive && seed % 16 != 1) continue;  // long, and tested by themselves
      faults::at_call(0, {});
      carry_out(run, scratch_ / "results");
      steps = faults::calls();
    }
    if (steps == 0) continue;
    if (seed % 80 == 3 || seed % 80 == 4) {  // every step
      for (long at = 1; at <= steps; ++at) {
        kills += survives_kill(seed, at, plain);
        ASSERT_FALSE(HasFailure());
      }
    } else {
      kills += survives_kill(
          seed, 1 + static_cast<long>(seed * 2654435761u % static_cast<unsigned long>(steps)), plain);
      ASSERT_FALSE(HasFailure());
    }
  }
  EXPECT_GT(kills, 800);
  RecordProperty("kills", kills);
}

// Where names are changed, at every single step: killed, and another program's turn.
TEST_F(RandomWorlds, AResultReplacedIsNeverLostNorAnythingAdded) {
  for (const bool plain : {false, true}) {
    faults::set_disk({plain});
    const auto earlier = [&](const fs::path& out) {
      faults::set_disk({plain});
      fs::remove_all(root());
      fs::create_directories(root());
      const Attempt run{Attempt::What::folder, out, {}, "inspect", "bowl", true, 0};
      EXPECT_EQ(carry_out(run, scratch_ / "results"), "");
      return run;
    };
    const fs::path out = root() / "ring1", added = out / "scan" / "added.jpg";
    Attempt run = earlier(out);
    faults::at_call(0, {});
    ASSERT_EQ(carry_out(run, scratch_ / "results"), "");
    const long steps = faults::calls();
    ASSERT_GE(steps, 30);
    for (long at = 1; at <= steps; ++at) {
      run = earlier(out);
      EXPECT_TRUE(killed(run, at));
      EXPECT_TRUE(plain || is_whole_result(out)) << "killed in front of " << at;
      EXPECT_EQ(carry_out(run, scratch_ / "results"), "") << "killed in front of " << at;
      EXPECT_TRUE(is_whole_result(out)) << "killed in front of " << at;
      EXPECT_EQ(std::distance(fs::directory_iterator(root()), {}), 1) << "killed in front of " << at;
      run = earlier(out);
      faults::at_call(at, [&] {
        std::error_code ec;
        fs::create_directories(added.parent_path(), ec);
        sample::write_file(added, "the user's");
      });
      const std::string line = carry_out(run, scratch_ / "results");
      faults::disarm();
      EXPECT_EQ(sample::file_bytes(added), "the user's") << "added in front of " << at << ": " << line;
      ASSERT_FALSE(HasFailure()) << (plain ? "plain disk" : "");
    }
  }
}

// Characters that a disk refuses are found before the work, and never cost the result.
TEST_F(RandomWorlds, CharactersThatADiskRefuses) {
  fs::create_directories(root());
  faults::set_disk({true, ":*?"});
  for (const auto what : {Attempt::What::folder, Attempt::What::file}) {
    const std::string line =
        carry_out({what, root() / "ring: 3", {}, "inspect", "bowl", true, 0}, scratch_ / "results");
    EXPECT_NE(line.find("this disk does not take such a name"), std::string::npos) << line;
    EXPECT_TRUE(fs::is_empty(root()));
  }
  EXPECT_EQ(carry_out({Attempt::What::folder, root() / "ring 3", {}, "inspect", "bowl", true, 0},
                      scratch_ / "results"),
            "");
}

}  // namespace
}  // namespace interstice::keep
