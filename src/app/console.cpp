#include "app/console.h"

#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

namespace interstice::app {

Progress::Progress(bool quiet, bool asked, std::vector<Stage> stages)
    : stages_(std::move(stages)), terminal_(::isatty(STDERR_FILENO) == 1) {
  on_ = !quiet && (terminal_ || asked);
}

Progress::~Progress() {
  if (on_ && terminal_ && shown_ > 0) std::fprintf(stderr, "\r%*s\r", static_cast<int>(shown_), "");
}

void Progress::step(const std::string& what) {
  if (!on_) return;
  if (!terminal_) {
    std::fprintf(stderr, "%s\n", what.c_str());
    return;
  }
  const std::string line = with_count_and_time(what);
  const std::size_t pad = shown_ > line.size() ? shown_ - line.size() : 0;
  std::fprintf(stderr, "\r%s%*s", line.c_str(), static_cast<int>(pad), "");
  std::fflush(stderr);
  shown_ = line.size();
}

std::string Progress::with_count_and_time(const std::string& what) {
  std::size_t stage = at_;
  while (stage < stages_.size() && stages_[stage].name != what) ++stage;
  if (stage == stages_.size()) return what;
  at_ = stage;
  double before = 0, all = 0;
  for (std::size_t s = 0; s < stages_.size(); ++s) (s < stage ? before : all) += stages_[s].share;
  all += before;
  const std::chrono::duration<double> elapsed = std::chrono::steady_clock::now() - start_;
  return stage_line(what, stage + 1, stages_.size(), before / all, elapsed.count());
}

std::string stage_line(const std::string& what, std::size_t number, std::size_t count, double done,
                       double elapsed_s) {
  std::string line = std::to_string(number) + " of " + std::to_string(count) + ": " + what;
  constexpr double kTooEarly = 0.1;
  if (done < kTooEarly) return line;
  const double left_s = elapsed_s * (1 - done) / done;
  if (left_s < 5) return line;
  const bool minutes = left_s >= 90;
  const double shown = minutes ? std::ceil(left_s / 60) : 5 * std::ceil(left_s / 5);
  return line + ", about " + std::to_string(std::lround(shown)) + (minutes ? " min left" : " s left");
}

// Shares as the whole was timed step by step (.docs/speed.md), between scans of 3 and 12 megapixels.
std::vector<Stage> scan_stages() {
  return {{"reading the photos and looking for cards", 13},
          {"solving the photos' positions", 1},
          {"finding the form", 17},
          {"tying the photos together", 6},
          {"laying the photos out on the form", 5},
          {"measuring heights", 16},
          {"drawing the map", 1},
          {"writing the scan", 2}};
}

std::vector<Stage> inspect_stages() {
  std::vector<Stage> stages = scan_stages();
  stages.pop_back();
  for (const Stage& stage : {Stage{"measuring the pieces' edges", 23}, Stage{"measuring the seams", 1},
                             Stage{"what resin reaches", 9}, Stage{"working out the least work", 3},
                             Stage{"writing the results", 4}})
    stages.push_back(stage);
  return stages;
}

void print_json_document(const std::string& json) {
  if (::isatty(STDOUT_FILENO) != 1) {
    std::fputs(json.c_str(), stdout);
    return;
  }
  const auto document = nlohmann::ordered_json::parse(json, nullptr, false);
  const std::string text =
      document.is_discarded() ? json
                              : document.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
  std::fputs(text.c_str(), stdout);
}

void print_json(const nlohmann::ordered_json& answer) {
  const std::string text = answer.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
  std::printf("%s\n", text.c_str());
}

}  // namespace interstice::app
