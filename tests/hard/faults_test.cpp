// Killed, stopped, short of disk, of memory, of permission: nothing half-written, earlier results intact.
#include <chrono>
#include <nlohmann/json.hpp>
#include <random>
#include <thread>

#include "core/files.h"
#include "core/result_folder.h"
#include "hard/small_photos.h"
#include "hard/small_scene.h"

namespace interstice::hard {
namespace {

using namespace std::chrono_literals;

class Faults : public Cases {
 protected:
  void SetUp() override {
    Cases::SetUp();
    write_photos(folder_ / "photos", {2, 4, 6, 8, 10, 12, 14, 16, 18, 19});
    put_earlier("inspect");
  }
  // An earlier result of the plan's piece, as the command leaves one.
  void put_earlier(const std::string& command) const {
    fs::remove_all(out());
    const std::string piece = nlohmann::json::parse(slurp(plan_.string())).at("name");
    core::ResultFolder folder(out(), {command, piece});
    for (const char* name : {"fit.json", "cameras.json"})
      core::write_new_file(folder.work() / name, "earlier");
    folder.commit();
  }
  fs::path out() const { return folder_ / "result"; }
  std::vector<std::string> words(const std::string& command = "inspect") const {
    std::vector<std::string> w = inspect(folder_ / "photos", plan_, out());
    if (plan_ != kPlover + "/plan.json") w.erase(w.begin() + 4, w.begin() + 6);  // not that lens
    w[0] = command;
    w.insert(w.end(), {"--quiet", "--replace"});
    return w;
  }
  // Six pieces instead of 57: 200 runs take minutes instead of an hour.
  void use_small_scene() {
    fs::remove_all(folder_ / "photos");
    renderer::write_scan_folder(renderer::make_scene(small_scene()), folder_);
    for (const char* name : {"scan.json", "truth.json"}) fs::remove(folder_ / name);
    plan_ = folder_ / "photos/plan.json";
    fs::rename(folder_ / "plan.json", plan_);
  }
  bool earlier() const { return slurp((out() / "fit.json").string()) == "earlier"; }
  // The earlier result alone, or a whole new one.
  bool whole(const std::string& command) const {
    if (earlier()) return true;
    const std::vector<std::string> files =
        command == "scan"
            ? std::vector<std::string>{"cameras.json", "scan.json", "surface.json", "heights.tif",
                                       "cloud.ply"}
            : std::vector<std::string>{"fit.json", "seams.csv", "pour.json", "cloud.ply", "report.html"};
    for (const std::string& file : files) {
      if (!fs::exists(out() / file) || fs::file_size(out() / file) == 0) return false;
    }
    const std::string json = slurp((out() / files.front()).string());
    return json.size() > 2 && json.substr(json.size() - 2) == "}\n";
  }

  fs::path plan_ = kPlover + "/plan.json";
};

TEST_F(Faults, KilledAtRandomMoments) {
  const int kills = full() ? 200 : 8;
  const std::string command = full() ? "inspect" : "scan";  // the short one writes a folder in the same way
  if (full()) use_small_scene();
  put_earlier(command);
  const auto start = std::chrono::steady_clock::now();
  ASSERT_LE(run(words(command)).exit_code, 1) << slurp((folder_ / "stderr").string());
  const auto whole_run = std::chrono::steady_clock::now() - start;
  ASSERT_TRUE(whole(command));
  ASSERT_FALSE(earlier());
  std::mt19937 random(9);
  int killed = 0, moments = 0;  // kills that come after a run's end do not count
  for (int i = 0; killed < kills && i < 4 * kills; ++i, ++moments) {
    const pid_t child = start_program(words(command), folder_);
    // Every other one near the end, where results are written.
    const double at = i % 2 ? std::uniform_real_distribution(0.0, 1.0)(random)
                            : std::uniform_real_distribution(0.85, 1.05)(random);
    std::this_thread::sleep_for(at * whole_run);
    ::kill(child, SIGKILL);
    killed += wait_for(child, folder_).exit_code == 128 + SIGKILL ? 1 : 0;
    ASSERT_TRUE(whole(command)) << "killed at " << at << " of a run";
  }
  EXPECT_EQ(killed, kills);
  // What killed runs left aside is cleared away by the next one.
  const Ran last = run(words(command));
  EXPECT_LE(last.exit_code, 1);
  EXPECT_EQ(names(), std::vector<std::string>{"result"});
  row("faults",
      "`" + command + "` killed " + std::to_string(killed) + " times before its end (of " +
          std::to_string(moments) + " tries): always a whole result; then run again",
      last);
}

TEST_F(Faults, StoppedByCtrlC) {
  for (const int number : {SIGINT, SIGTERM}) {
    const pid_t child = start_program(words(), folder_);
    std::this_thread::sleep_for(1500ms);
    ::kill(child, number);
    const Ran ran = wait_for(child, folder_);
    EXPECT_EQ(ran.exit_code, 128 + number);
    EXPECT_EQ(ran.err, "interstice: stopped; results of earlier runs are as they were\n");
    EXPECT_TRUE(earlier());
    EXPECT_EQ(names(), std::vector<std::string>{"result"});
    row("faults", number == SIGINT ? "Ctrl-C" : "told to end (SIGTERM)", ran);
  }
}

TEST_F(Faults, DiskFull) {
  put_earlier("scan");
  const Ran ran = run(words("scan"), [] {
    const rlimit limit{30000, 30000};  // the first large file does not fit
    ::setrlimit(RLIMIT_FSIZE, &limit);
  });
  EXPECT_EQ(ran.exit_code, 2);
  EXPECT_EQ(lines(ran.err), 1) << ran.err;
  EXPECT_NE(ran.err.find("cannot be written"), std::string::npos) << ran.err;
  EXPECT_TRUE(earlier());
  EXPECT_EQ(names(), std::vector<std::string>{"result"});
  row("faults", "the disk takes no more (file size limit)", ran);
}

TEST_F(Faults, NoPermission) {
  if (::geteuid() != 0 && ::access("/", W_OK) == 0) GTEST_SKIP();
  const fs::path locked = folder_ / "locked";
  fs::create_directories(locked);
  ::chmod(locked.c_str(), 0555);
  std::vector<std::string> w = inspect(folder_ / "photos", kPlover + "/plan.json", locked / "out");
  // Nobody (65534), where we are root; root may write anywhere.
  const Ran ran = run(w, [] {
    if (::geteuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0)) ::_exit(99);
  });
  ::chmod(locked.c_str(), 0755);
  if (ran.exit_code == 127) GTEST_SKIP() << "the program cannot be started by another user here";
  EXPECT_EQ(ran.exit_code, 2);
  EXPECT_EQ(lines(ran.err), 1) << ran.err;
  EXPECT_TRUE(fs::is_empty(locked));
  row("faults", "output in a folder without permission to write", ran);
}

// The demo photos at half size fit into 512 MB; less must end in a clear line.
TEST_F(Faults, LittleMemory) {
  const rlim_t megabytes = full() ? 512 : 160;
  const Ran ran = run(words(), [megabytes] {
    const rlimit limit{megabytes << 20, megabytes << 20};
    ::setrlimit(RLIMIT_DATA, &limit);  // heap and private maps
  });
  if (ran.exit_code != 1) {
    EXPECT_EQ(ran.exit_code, 2);
    EXPECT_EQ(lines(ran.err), 1) << ran.err;
    EXPECT_NE(ran.err.find("not enough memory"), std::string::npos) << ran.err;
    EXPECT_TRUE(earlier());
    EXPECT_EQ(names(), std::vector<std::string>{"result"});
  }
  row("faults", std::to_string(megabytes) + " MB of memory", ran);
}

}  // namespace
}  // namespace interstice::hard
