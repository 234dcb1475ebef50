// Long work in a row: measuring and what belongs to it. Each job is one or more runs of this very program, as
// a child in a session of its own; what it says goes into files, so that it can be found again by a server
// that was killed and started anew, and its crash is a message.
//
//   .bench/jobs/000012/job.json   what is asked for, and its state as last known
//                      said       standard error: the stage it is at, a line each; the reason when it fails
//                      output     standard output
//                      ended-0    exit code of the first step
#pragma once

#include <sys/types.h>

#include <chrono>
#include <condition_variable>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "bench/stage_times.h"

namespace interstice::bench {

enum class JobState { waiting, running, done, failed, crashed, cancelled };
const char* name_of(JobState state);
bool is_over(JobState state);

struct JobOrder {
  std::string kind;                             // "measure", "patterns" ...: its times are remembered by it
  std::string bowl, scan;                       // what it is for; may be empty
  std::string words;                            // for people: "Measuring Ring 3"
  std::size_t photos = 0;                       // work grows with them
  std::vector<std::vector<std::string>> steps;  // arguments of the program
};

struct Job {
  int id = 0;
  JobOrder order;
  JobState state = JobState::waiting;
  std::size_t step = 0;
  std::string message;                 // why it ended as it did, for people
  std::string stage;                   // while it runs
  std::optional<double> share;         // done, 0 to 1, by the times of earlier jobs of its kind
  std::optional<double> seconds_left;  // the same
  double seconds = 0;                  // so far
};

class Jobs {
 public:
  static constexpr std::size_t kMostWaiting = 50, kKept = 200;

  // Finds the jobs of earlier servers: one still running is watched on; one that ended without a word (the
  // computer went off) begins anew, once.
  Jobs(std::filesystem::path folder, std::string program);
  // Stops the running job; it waits for the next server.
  ~Jobs();
  Jobs(const Jobs&) = delete;
  Jobs& operator=(const Jobs&) = delete;

  // The job's number; the one that waits or runs already when the same is asked for again. Throws InputError
  // when too many wait.
  int add(const JobOrder& order);
  void cancel(int id);
  std::vector<Job> all() const;  // newest first
  std::optional<Job> last_of(const std::string& bowl, const std::string& scan, const std::string& kind) const;

 private:
  struct Running {
    pid_t pid = -1;
    unsigned long long start = 0;  // process_start()
    bool own_child = false;
  };
  std::filesystem::path folder_of(int id) const;
  std::filesystem::path times_of(const Job& job) const;
  void load();
  void load_one(const std::filesystem::path& file);
  void save(const Job& job) const;
  void forget_old();
  Job* next();
  void run();
  void start_step(Job& job);
  void watch(Job& job, std::unique_lock<std::mutex>& lock);
  std::optional<int> ended(const Job& job) const;
  void end_step(Job& job, std::optional<int> code);
  void finish(Job& job, JobState state, const std::string& message);
  void show_progress(Job& job);
  void stop_running(std::unique_lock<std::mutex>& lock);
  bool is_running() const;

  std::filesystem::path folder_;
  std::string program_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::map<int, Job> jobs_;
  std::map<int, int> begun_;  // how often
  Running running_;
  JobTimes now_;  // of the running job
  std::chrono::steady_clock::time_point since_, stage_since_;
  bool whole_ = false;  // its times were seen from the beginning
  int cancelled_ = 0;
  bool ending_ = false;
  std::thread thread_;
};

}  // namespace interstice::bench
