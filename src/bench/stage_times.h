// How long a job's stages take, learnt from earlier ones of its kind on this computer.
//
// Work grows with the number of photos; so do the times.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace interstice::bench {

struct StageTime {
  std::string stage;
  double seconds = 0;  // from the job's beginning, when the stage began
};

struct JobTimes {
  std::size_t photos = 0;
  double seconds = 0;  // in all
  std::vector<StageTime> stages;
};

struct Forecast {
  double share = 0, seconds_left = 0;
};

// What is known of a stage: nothing for a stage never seen. Within a stage the share rises with the time, up
// to the next stage's beginning.
std::optional<Forecast> forecast(const JobTimes& earlier, std::size_t photos, const std::string& stage,
                                 double seconds_in_stage);

// Kept in one file a kind.
std::optional<JobTimes> read_times(const std::filesystem::path& file);
void write_times(const JobTimes& times, const std::filesystem::path& file);

}  // namespace interstice::bench
