// Progress for people: on standard error, only on a terminal or when asked. Documents on standard output.
#pragma once

#include <chrono>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace interstice::app {

// A step of a long run by the name it reports, and its usual share of the whole time.
struct Stage {
  std::string name;
  double share = 0;
};

class Progress {
 public:
  // `stages`: in the order they come; empty: not known beforehand.
  Progress(bool quiet, bool asked, std::vector<Stage> stages = {});
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // Says what is being done. On a terminal the line is overwritten, and counts the stages and estimates the time
  // left where they are known; otherwise (when asked) one line each.
  void step(const std::string& what);

 private:
  std::string with_count_and_time(const std::string& what);

  std::vector<Stage> stages_;
  std::size_t at_ = 0;  // the stage that is being done
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
  bool on_ = false, terminal_ = false;
  std::size_t shown_ = 0;
};

// "4 of 13: finding the form, about 40 s left": done is the share of the whole before this stage, elapsed_s the time
// since the start. No time where too little is done to tell.
std::string stage_line(const std::string& what, std::size_t number, std::size_t count, double done,
                       double elapsed_s);

// The stages of measuring photos (scan), and of all that inspect does.
std::vector<Stage> scan_stages();
std::vector<Stage> inspect_stages();

// A JSON document on standard output: as it is into files and pipes, indented on a terminal.
void print_json_document(const std::string& json);
// An answer for programs: indented, bytes that are not UTF-8 replaced.
void print_json(const nlohmann::ordered_json& answer);

}  // namespace interstice::app
