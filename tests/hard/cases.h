// Cases that must not break the program, run with the real binary, and the table of what happened.
#pragma once

#include <fcntl.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "app/run_program.h"

namespace interstice::hard {

namespace fs = std::filesystem;

inline const std::string kPlover = std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover";

// The long version, by hand: INTERSTICE_HARD=full.
inline bool full() {
  const char* how = std::getenv("INTERSTICE_HARD");
  return how && std::string(how) == "full";
}

// Puts a line into results/hard/GROUP.md, the table of what happened in each case; a line of the same case
// from an earlier run gives way. tests/hard/table.py makes the published table of them.
inline void row(const std::string& group, const std::string& what, const Ran& ran) {
  const fs::path folder = fs::path(INTERSTICE_RESULTS) / "hard", path = folder / (group + ".md");
  fs::create_directories(folder);
  std::string said = ran.err.empty() ? ran.out : ran.err;
  if (!said.empty() && said.back() == '\n') said.pop_back();
  said = said.substr(said.rfind('\n') == std::string::npos ? 0 : said.rfind('\n') + 1);
  for (const std::string& gone :
       {std::string(INTERSTICE_RESULTS) + "/", std::string(INTERSTICE_SOURCE_DIR) + "/"}) {
    for (std::size_t at; (at = said.find(gone)) != std::string::npos;) said.erase(at, gone.size());
  }
  std::replace(said.begin(), said.end(), '|', '/');
  const std::string begins = "| " + what + " | ";
  const std::string line = begins + std::to_string(ran.exit_code) + " | " + said.substr(0, 240) + " |";
  std::vector<std::string> lines;
  std::ifstream before(path);
  for (std::string l; std::getline(before, l);) lines.push_back(l);
  if (lines.empty()) lines = {"| case | exit | what the program says |", "| --- | --- | --- |"};
  const auto same =
      std::find_if(lines.begin(), lines.end(), [&](const std::string& l) { return l.rfind(begins, 0) == 0; });
  if (same == lines.end()) {
    lines.push_back(line);
  } else {
    *same = line;
  }
  std::ofstream table(path, std::ios::trunc);
  for (const std::string& l : lines) table << l << "\n";
}

// Starts the program with `prepare` done in the child first; its process id. Output goes to files in
// `folder`.
inline pid_t start_program(const std::vector<std::string>& words, const fs::path& folder,
                           const std::function<void()>& prepare = {}) {
  std::vector<char*> arguments{const_cast<char*>(INTERSTICE_PROGRAM)};
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const std::string out = (folder / "stdout").string(), err = (folder / "stderr").string();
  const pid_t child = ::fork();
  if (child != 0) return child;
  ::dup2(::open(out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666), 1);
  ::dup2(::open(err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666), 2);
  if (prepare) prepare();
  ::execv(INTERSTICE_PROGRAM, arguments.data());
  ::_exit(127);
}

// Exit code, or 128 + the signal that ended it, as a shell says it.
inline Ran wait_for(pid_t child, const fs::path& folder) {
  int status = 0;
  ::waitpid(child, &status, 0);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status),
          slurp((folder / "stdout").string()), slurp((folder / "stderr").string())};
}

// A folder of the test's own; photos of the demo scan made smaller, so that a run is short.
class Cases : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(INTERSTICE_RESULTS) / "hard" /
              (std::string(testing::UnitTest::GetInstance()->current_test_info()->test_suite_name()) + "_" +
               testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::remove_all(folder_);
    fs::create_directories(folder_ / "photos");
  }
  void TearDown() override {
    if (!HasFailure()) fs::remove_all(folder_);
  }

  std::vector<std::string> inspect(const fs::path& photos, const fs::path& plan, const fs::path& out) const {
    return {"inspect",      photos.string(), "--plan", plan.string(), "--lens", kPlover + "/W1.lens.json",
            "--check-line", "150",           "--out",  out.string()};
  }
  Ran run(const std::vector<std::string>& words, const std::function<void()>& prepare = {}) const {
    return wait_for(start_program(words, folder_, prepare), folder_);
  }
  // Names in the folder, hidden ones too, less what every test has.
  std::vector<std::string> names() const {
    std::vector<std::string> out;
    for (const auto& entry : fs::directory_iterator(folder_)) {
      const std::string name = entry.path().filename();
      if (name != "stdout" && name != "stderr" && name != "photos") out.push_back(name);
    }
    std::sort(out.begin(), out.end());
    return out;
  }
  static long lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }

  fs::path folder_;
};

}  // namespace interstice::hard
