// What others give us, and a system that refuses: one clear line, in time, nothing of ours lost, nothing of
// the user's shown or told.
#include <sys/stat.h>

#include <chrono>
#include <exiv2/exiv2.hpp>
#include <nlohmann/json.hpp>
#include <thread>

#include "hard/small_photos.h"
#include "hard/small_scene.h"

namespace interstice::hard {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;

class Foreign : public Cases {
 protected:
  // One inspected scan of six pieces for all tests.
  static const fs::path& inspected() {
    static const fs::path folder = [] {
      const fs::path made = fs::path(INTERSTICE_RESULTS) / "hard" / "foreign_scan";
      fs::remove_all(made);
      renderer::write_scan_folder(renderer::make_scene(small_scene()), made);
      wait_for(start_program({"inspect", (made / "photos").string(), "--plan", (made / "plan.json").string(),
                              "--out", (made / "result").string()},
                             made),
               made);
      return made;
    }();
    return folder;
  }
  void SetUp() override {
    Cases::SetUp();
    ::setenv("XDG_STATE_HOME", (folder_ / "state").c_str(), 1);
  }
  void write(const std::string& name, const std::string& text) {
    std::ofstream(folder_ / name, std::ios::binary) << text;
  }
  // A copy of the result, as if it had come from somebody else.
  fs::path received() {
    fs::copy(inspected() / "result", folder_ / "received", fs::copy_options::recursive);
    return folder_ / "received";
  }
  std::map<std::string, std::string> contents(const fs::path& folder) const {
    std::map<std::string, std::string> out;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
      if (entry.is_regular_file() && !entry.is_symlink())
        out[entry.path().string()] = slurp(entry.path().string());
    }
    return out;
  }
  // Refused in one line within a minute, and everything in the folder as it was.
  Ran refused(const std::string& what, const std::vector<std::string>& words, const std::string& says,
              const std::function<void()>& prepare = {}) {
    fs::remove(folder_ / "stdout"), fs::remove(folder_ / "stderr");
    const auto before = contents(folder_);
    const auto start = std::chrono::steady_clock::now();
    const Ran ran = run(words, prepare);
    EXPECT_LT(std::chrono::steady_clock::now() - start, 60s) << what;
    EXPECT_EQ(ran.exit_code, 2) << what << ran.err;
    EXPECT_EQ(lines(ran.err), 1) << what << ran.err;
    EXPECT_NE(ran.err.find(says), std::string::npos) << what << ran.err;
    fs::remove(folder_ / "stdout"), fs::remove(folder_ / "stderr");
    EXPECT_TRUE(contents(folder_) == before) << what;
    row("foreign", what, ran);
    return ran;
  }
  Ran check_plan(const std::string& what, const json& plan, const std::string& says) {
    write("plan.json", plan.dump());
    return refused(what, {"plan", "check", (folder_ / "plan.json").string()}, says);
  }
};

TEST_F(Foreign, PipesWhereFilesAreExpected) {
  const std::string pipe = (folder_ / "pipe").string(), out = (folder_ / "out").string();
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  const std::string plan = kPlover + "/plan.json", says = "is a pipe or a device, a file is needed";
  refused("a pipe for a plan", {"plan", "check", pipe}, says);
  refused("/dev/zero for a plan", {"plan", "check", "/dev/zero"}, says);
  refused("a pipe for a form", {"plan", "form", pipe}, says);
  refused("a pipe for a lens", {"inspect", kPlover + "/photos", "--plan", plan, "--lens", pipe, "--out", out},
          says);
  refused("a pipe for a resin",
          {"inspect", kPlover + "/photos", "--plan", plan, "--resin", pipe, "--out", out}, says);
  fs::create_directories(folder_ / "result");
  ASSERT_EQ(::mkfifo((folder_ / "result/fit.json").c_str(), 0600), 0);
  refused("a pipe for fit.json in a result",
          {"report", (folder_ / "result").string(), "--plan", plan, "--out", out}, says);
  ASSERT_EQ(::mkfifo((folder_ / "photos/a.jpg").c_str(), 0600), 0);
  refused("a pipe for a photo", {"inspect", (folder_ / "photos").string(), "--plan", plan, "--out", out},
          "holds no photo");
}

TEST_F(Foreign, PlansBeyondAllMeasure) {
  const json good = json::parse(slurp(kPlover + "/plan.json"));
  json plan = good;
  plan["tiles"][3]["label"] = "B\u202e7";
  check_plan("a plan with a label that turns the reading direction", plan, "U+202E");
  plan["tiles"][3]["label"] = "B7\x1b[2J";
  check_plan("a plan with a label that commands the terminal", plan, "U+001B");
  plan = good;
  plan["name"] = "ring\n0\nLINE";
  check_plan("a plan with a line end in its name", plan, "U+000A");
  plan = good;
  json star = json::array();
  for (int i = 0; i < 800; ++i) {
    const double t = 2 * CV_PI * i / 800, r = i % 2 ? 15 : 90;
    star.push_back({r * std::cos(t), r * std::sin(t)});
  }
  plan["tiles"][0]["outline"] = star;
  check_plan("a plan with an outline of 60 m", plan, "the outline is 60 m long");
  plan = good;
  json zigzag = json::array({json::array({0, 60})});
  for (int i = 0; i < 300; ++i) zigzag.push_back({i % 2 ? 10 : 100, 60 - i / 6.0});
  zigzag.push_back({100, 0});
  plan["profile"] = zigzag;
  check_plan("a plan with a profile of 27 m", plan, "is 27 m long");
  json dense = json::array();
  for (int i = 0; i <= 50000; ++i) {
    const double t = CV_PI / 2 * i / 50000;
    dense.push_back({100 * std::sin(t), i == 50000 ? 0 : 100 * std::cos(t)});
  }
  plan["profile"] = dense;
  check_plan("a plan with a profile of 50001 points", plan, "more than 5000 points");
  write("form.csv", "0 500\n200 458.26\n350 357.07\n458.26 200\n500 0\n");
  refused("plan make: a form 1 m across in pieces of 6.5 mm",
          {"plan", "make", (folder_ / "form.csv").string(), "--piece-size", "6.5", "--gap", "0.5",
           "--smallest-fill", "0.5", "--out", (folder_ / "made.json").string()},
          "the limit is 1500");
}

TEST_F(Foreign, PhotosThatCostTooMuch) {
  std::vector<uchar> bytes;
  cv::imencode(".jpg", plover_photo(2, 0.1), bytes, {cv::IMWRITE_JPEG_PROGRESSIVE, 1});
  const std::string jpeg(bytes.begin(), bytes.end());
  const std::size_t last = jpeg.rfind("\xff\xda"), end = jpeg.rfind("\xff\xd9");
  std::string many = jpeg.substr(0, end);
  for (int i = 0; i < 200; ++i) many += jpeg.substr(last, end - last);
  write("photos/many.jpg", many + "\xff\xd9");
  refused("a progressive JPEG of 200 scans",
          {"inspect", (folder_ / "photos").string(), "--plan", kPlover + "/plan.json", "--out",
           (folder_ / "out").string()},
          "passes over its picture");
}

// A result folder names photos by absolute path, by "..", by a link: none of them is read.
TEST_F(Foreign, ResultFoldersReadNothingElsewhere) {
  const fs::path received_folder = received(), page = folder_ / "page.html";
  const std::string scan = slurp((received_folder / "scan/scan.json").string());
  EXPECT_EQ(scan.find("/"), std::string::npos) << "a path in scan.json";
  const fs::path own = folder_ / "own";
  fs::copy(inspected() / "photos", own);
  // The map has a picture of its own on every page; photos come on top of it.
  const auto pictures = [&] {
    const std::string text = slurp(page.string());
    std::size_t n = 0;
    for (std::size_t at = text.find("data:image/jpeg"); at != std::string::npos; ++n)
      at = text.find("data:image/jpeg", at + 1);
    return n;
  };
  const std::size_t without = 1;
  const auto report = [&](const std::string& what, const std::string& named) {
    json j = json::parse(scan);
    for (auto& photo : j["photos"]) photo["file"] = named + photo["name"].get<std::string>() + ".jpg";
    write("received/scan/scan.json", j.dump());
    const Ran ran = run({"report", received_folder.string(), "--out", page.string()});
    EXPECT_EQ(ran.exit_code, 0) << ran.err;
    EXPECT_EQ(pictures(), without) << what;
    row("foreign", what, ran);
  };
  report("a result folder that names photos by an absolute path", own.string() + "/");
  report("a result folder that names photos by ..", "../own/");
  fs::create_directories(received_folder / "photos");
  for (const auto& photo : fs::directory_iterator(own))
    fs::create_symlink(photo.path(), received_folder / "photos" / photo.path().filename());
  report("a result folder with links to photos elsewhere", "");
  // Named by the user, they are shown.
  EXPECT_EQ(
      run({"report", received_folder.string(), "--photos", own.string(), "--out", page.string()}).exit_code,
      0);
  EXPECT_GT(pictures(), without);
  refused("fit of a received scan without its photos",
          {"fit", (received_folder / "scan").string(), "--plan", (inspected() / "plan.json").string(),
           "--out", (folder_ / "fit.json").string()},
          "name the folder the photos are in with --photos");
}

// On this computer a scan's photos are found again, though the scan does not say where they are.
TEST_F(Foreign, OwnPhotosAreRemembered) {
  fs::copy(inspected() / "photos", folder_ / "mine");
  const std::string plan = (inspected() / "plan.json").string(), scan = (folder_ / "a/b/scan").string();
  const Ran scanned = run({"scan", (folder_ / "mine").string(), "--plan", plan, "--out", scan});
  ASSERT_EQ(scanned.exit_code, 0) << scanned.err;
  const Ran fit = run({"fit", scan, "--plan", plan, "--out", (folder_ / "fit.json").string()});
  EXPECT_EQ(fit.exit_code, 1) << fit.err;
  fs::rename(folder_ / "mine", folder_ / "moved");
  EXPECT_EQ(run({"fit", scan, "--plan", plan, "--out", (folder_ / "f.json").string()}).exit_code, 2);
  EXPECT_EQ(run({"fit", scan, "--plan", plan, "--photos", (folder_ / "moved").string(), "--out",
                 (folder_ / "f.json").string()})
                .exit_code,
            1);
  EXPECT_EQ(slurp((folder_ / "f.json").string()), slurp((folder_ / "fit.json").string()));
}

TEST_F(Foreign, ExportsTellNoPlace) {
  const fs::path result = received(), archive = folder_ / "archive";
  const fs::path photo = folder_ / "photos/photo.jpg";
  cv::imwrite(photo.string(), plover_photo(2, 0.2));
  const auto image = Exiv2::ImageFactory::open(photo.string());
  image->readMetadata();
  image->exifData()["Exif.GPSInfo.GPSLatitude"] = "51/1 28/1 4044/100";
  image->writeMetadata();
  std::ofstream(photo, std::ios::app | std::ios::binary) << "a film with +51.4779-000.0015/";
  ASSERT_EQ(run({"archive", "add", result.string(), "--archive", archive.string(), "--name", "Heron",
                 "--photos", (folder_ / "photos").string(), "--date", "2026-03-14"})
                .exit_code,
            0)
      << slurp((folder_ / "stderr").string());
  const Ran ran =
      run({"archive", "export", "Heron", "--archive", archive.string(), "--out", (folder_ / "x").string()});
  EXPECT_EQ(ran.exit_code, 0) << ran.err;
  row("foreign", "archive export: a photo with its place and a film behind it", ran);
  const std::string clean = slurp((folder_ / "x/data/photos/photo.jpg").string());
  EXPECT_NE(clean, "");
  EXPECT_EQ(clean.find("51.4779"), std::string::npos);
  EXPECT_EQ(clean.substr(clean.size() - 2), "\xff\xd9");
  write("clip.mov", std::string(100, 'm'));
  ASSERT_EQ(run({"archive", "add", result.string(), "--archive", archive.string(), "--name", "Crane",
                 "--photos", (folder_ / "clip.mov").string(), "--date", "2026-03-15"})
                .exit_code,
            0);
  refused("archive export: a film among the photos",
          {"archive", "export", "Crane", "--archive", archive.string(), "--out", (folder_ / "y").string()},
          "photos/clip.mov: is not a picture");
}

// A browser that hangs: told to stop, the program takes it along.
TEST_F(Foreign, CtrlCWhilePrinting) {
  const std::string script = (folder_ / "chromium").string(), pid_file = (folder_ / "pid").string();
  std::ofstream(script) << "#!/bin/sh\nsleep 300 & echo $! > " << pid_file << "; wait\n";
  ::chmod(script.c_str(), 0755);
  fs::create_directories(folder_ / "tmp");
  const fs::path result = received();
  const pid_t child = start_program({"report", result.string(), "--pdf", (folder_ / "p.pdf").string(),
                                     "--out", (folder_ / "p.html").string()},
                                    folder_, [&] {
                                      ::setenv("PATH", (folder_.string() + ":/usr/bin:/bin").c_str(), 1);
                                      ::setenv("TMPDIR", (folder_ / "tmp").c_str(), 1);
                                    });
  pid_t browser = 0;
  for (int tries = 0; tries < 3000 && browser == 0; ++tries, std::this_thread::sleep_for(20ms))
    std::ifstream(pid_file) >> browser;
  ASSERT_GT(browser, 0);
  ::kill(child, SIGINT);
  const Ran ran = wait_for(child, folder_);
  EXPECT_EQ(ran.exit_code, 130);
  EXPECT_EQ(lines(ran.err), 2) << ran.err;  // the photos that are not there, and that it was stopped
  EXPECT_TRUE(fs::is_empty(folder_ / "tmp"));
  EXPECT_FALSE(fs::exists(folder_ / "p.pdf"));
  EXPECT_FALSE(fs::exists(folder_ / "p.html"));
  std::string state = "?";
  for (int tries = 0; tries < 200 && state != "" && state != "Z";
       ++tries, std::this_thread::sleep_for(10ms)) {
    std::string number, name;
    state.clear();
    std::ifstream("/proc/" + std::to_string(browser) + "/stat") >> number >> name >> state;
  }
  EXPECT_TRUE(state.empty() || state == "Z") << state;
  row("foreign", "report --pdf: Ctrl-C while the browser hangs", ran);
}

// As in a container with a limit on processes: slower, not broken.
// Limits on processes hold for users, not for root.
int become_nobody_with_processes(rlim_t most) {
  const rlimit limit{most, most};
  if (::geteuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0)) return 99;
  return ::setrlimit(RLIMIT_NPROC, &limit) == 0 ? 0 : 99;
}

TEST_F(Foreign, FewOrNoMoreThreadsToBeHad) {
  inspected();
  ::chmod(folder_.c_str(), 0777);
  fs::create_directories(folder_ / "open");
  ::chmod((folder_ / "open").c_str(), 0777);
  const auto inspect = [&](rlim_t processes, const std::string& out) {
    return run({"inspect", (inspected() / "photos").string(), "--plan", (inspected() / "plan.json").string(),
                "--threads", "8", "--out", out},
               [processes] {
                 if (become_nobody_with_processes(processes) != 0) ::_exit(99);
               });
  };
  const std::string out = (folder_ / "open/result").string();
  const Ran none = inspect(1, out);
  if (none.exit_code == 127) GTEST_SKIP() << "the program cannot be started by another user here";
  EXPECT_EQ(none.exit_code, 2);  // the solver insists on one
  EXPECT_NE(none.err.find("no further thread can be started"), std::string::npos) << none.err;
  EXPECT_EQ(std::count(none.err.begin(), none.err.end(), '\n'), 1) << none.err;
  EXPECT_FALSE(fs::exists(out));
  row("foreign", "inspect where no thread can be started", none);
  const Ran few = inspect(4, out);
  EXPECT_EQ(few.exit_code, 1) << few.err;
  EXPECT_EQ(slurp(out + "/fit.json"), slurp((inspected() / "result/fit.json").string()));
  row("foreign", "inspect where three threads at most can be started", few);
}

}  // namespace
}  // namespace interstice::hard
