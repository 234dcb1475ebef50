#include "bench/jobs.h"

#include <fmt/core.h>

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

#include "bench/child_process.h"
#include "bench/job_file.h"
#include "core/errors.h"
#include "core/files.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

using Clock = std::chrono::steady_clock;

constexpr auto kGlance = std::chrono::milliseconds(200);
constexpr auto kStopPatience = std::chrono::seconds(10);  // for a job that was told to stop
// Runs the program and leaves its exit code where a later server finds it, whole or not at all.
constexpr const char* kKeeper = "\"$@\"; echo $? >\"$0.new\" && mv \"$0.new\" \"$0\"";

double seconds_since(Clock::time_point then) {
  return std::chrono::duration<double>(Clock::now() - then).count();
}

// Messages are read on other devices: paths from the bench's folder on are enough.
std::string without(std::string text, const std::string& part) {
  for (std::size_t at = 0; (at = text.find(part, at)) != std::string::npos;) text.erase(at, part.size());
  return text;
}

int open_log(const fs::path& file) {
  return ::open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC | O_NOFOLLOW, 0666);
}

}  // namespace

Jobs::Jobs(fs::path folder, std::string program) : folder_(std::move(folder)), program_(std::move(program)) {
  fs::create_directories(folder_);
  load();
  thread_ = std::thread([this] { run(); });
}

Jobs::~Jobs() {
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    ending_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

fs::path Jobs::folder_of(int id) const {
  return folder_ / fmt::format("{:06}", id);
}

fs::path Jobs::times_of(const Job& job) const {
  return folder_ / ("times-" + job.order.kind + ".json");
}

void Jobs::load() {
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder_, ec)) {
    if (entry.is_directory(ec)) load_one(entry.path() / "job.json");
  }
}

void Jobs::load_one(const fs::path& file) {
  const std::optional<JobRecord> record = read_job(file);
  if (!record) return;
  Job job = record->job;
  begun_[job.id] = record->begun;
  if (job.state == JobState::running) {
    const bool lives = record->pid > 0 && process_start(record->pid) == record->start;
    if (lives && running_.pid < 0) {
      running_ = {record->pid, record->start, false};
    } else if (!ended(job)) {
      job.state = JobState::waiting;
      job.step = 0;
      if (record->begun >= 2) {
        job.state = JobState::crashed;
        job.message =
            "It was cut off twice, by this computer going off or running out of memory. The photos are "
            "kept; close other programs and start it again.";
      }
    }
  }
  jobs_[job.id] = job;
}

void Jobs::save(const Job& job) const {
  const auto begun = begun_.find(job.id);
  const JobRecord record{job, job.state == JobState::running ? running_.pid : -1,
                         job.state == JobState::running ? running_.start : 0,
                         begun == begun_.end() ? 0 : begun->second};
  fs::create_directories(folder_of(job.id));
  core::write_file_atomically(folder_of(job.id) / "job.json", write_job(record));
}

int Jobs::add(const JobOrder& order) {
  const std::lock_guard<std::mutex> lock(mutex_);
  std::size_t waiting = 0;
  for (const auto& [id, job] : jobs_) {
    const bool same =
        job.order.kind == order.kind && job.order.bowl == order.bowl && job.order.scan == order.scan;
    if (!is_over(job.state) && same) return id;
    if (job.state == JobState::waiting) ++waiting;
  }
  if (waiting >= kMostWaiting)
    throw core::InputError("too much is waiting already; let some of it be done first");
  Job job;
  job.id = jobs_.empty() ? 1 : jobs_.rbegin()->first + 1;
  job.order = order;
  save(job);
  jobs_[job.id] = job;
  forget_old();
  changed_.notify_all();
  return job.id;
}

// The list keeps to the newest; folders of older jobs hold nothing but words.
void Jobs::forget_old() {
  while (jobs_.size() > kKept && is_over(jobs_.begin()->second.state)) {
    std::error_code ec;
    fs::remove_all(folder_of(jobs_.begin()->first), ec);
    jobs_.erase(jobs_.begin());
  }
}

void Jobs::cancel(int id) {
  const std::lock_guard<std::mutex> lock(mutex_);
  const auto it = jobs_.find(id);
  if (it == jobs_.end() || is_over(it->second.state)) return;
  if (it->second.state == JobState::waiting) {
    finish(it->second, JobState::cancelled, "Cancelled before it began.");
  } else {
    cancelled_ = id;
  }
  changed_.notify_all();
}

std::vector<Job> Jobs::all() const {
  const std::lock_guard<std::mutex> lock(mutex_);
  std::vector<Job> list;
  for (auto it = jobs_.rbegin(); it != jobs_.rend(); ++it) list.push_back(it->second);
  return list;
}

std::optional<Job> Jobs::last_of(const std::string& bowl, const std::string& scan,
                                 const std::string& kind) const {
  const std::lock_guard<std::mutex> lock(mutex_);
  for (auto it = jobs_.rbegin(); it != jobs_.rend(); ++it) {
    const JobOrder& order = it->second.order;
    if (order.bowl == bowl && order.scan == scan && order.kind == kind) return it->second;
  }
  return std::nullopt;
}

Job* Jobs::next() {
  Job* waiting = nullptr;
  for (auto& [id, job] : jobs_) {
    if (job.state == JobState::running) return &job;  // of an earlier server
    if (job.state == JobState::waiting && waiting == nullptr) waiting = &job;
  }
  return waiting;
}

void Jobs::run() {
  std::unique_lock<std::mutex> lock(mutex_);
  while (!ending_) {
    Job* job = next();
    if (job == nullptr) {
      changed_.wait(lock);
      continue;
    }
    try {
      if (job->state == JobState::waiting) start_step(*job);
      watch(*job, lock);
    } catch (const std::exception& e) {  // the disk is full, say
      job->state = JobState::failed;
      job->message = core::one_line(e.what(), 300);
    }
  }
}

void Jobs::start_step(Job& job) {
  const fs::path folder = folder_of(job.id);
  const fs::path code_file = folder / ("ended-" + std::to_string(job.step));
  std::error_code ec;
  fs::remove(code_file, ec);
  if (job.step == 0) {
    fs::remove(folder / "said", ec);
    fs::remove(folder / "output", ec);
    begun_[job.id] += 1;
    now_ = {job.order.photos, 0, {}};
    since_ = stage_since_ = Clock::now();
    whole_ = true;
  }
  std::vector<std::string> command{"/bin/sh", "-c", kKeeper, code_file.string(), program_};
  const std::vector<std::string>& arguments = job.order.steps.at(job.step);
  command.insert(command.end(), arguments.begin(), arguments.end());
  const int said = open_log(folder / "said"), output = open_log(folder / "output");
  const pid_t pid = start_child(command, {.output = output, .errors = said, .own_session = true});
  ::close(said);
  ::close(output);
  if (pid < 0) return finish(job, JobState::failed, "This computer starts no more programs; close others.");
  running_ = {pid, process_start(pid), true};
  job.state = JobState::running;
  job.message.clear();
  save(job);
}

bool Jobs::is_running() const {
  if (running_.own_child) return ::waitpid(running_.pid, nullptr, WNOHANG) == 0;
  return process_start(running_.pid) == running_.start;
}

std::optional<int> Jobs::ended(const Job& job) const {
  const fs::path file = folder_of(job.id) / ("ended-" + std::to_string(job.step));
  std::error_code ec;
  if (!fs::exists(file, ec)) return std::nullopt;
  try {
    return std::stoi(core::read_file(file, 64));
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

void Jobs::watch(Job& job, std::unique_lock<std::mutex>& lock) {
  while (job.state == JobState::running) {
    const bool lives = is_running();  // asked first: what it leaves behind is there once it is gone
    if (!lives) {
      end_step(job, ended(job));
      continue;
    }
    show_progress(job);
    if (ending_ || cancelled_ == job.id) {
      const bool cancelled = cancelled_ == job.id;
      stop_running(lock);
      cancelled_ = 0;
      if (cancelled)
        return finish(job, JobState::cancelled, "Cancelled. What was there before is as it was.");
      job.state = JobState::waiting;  // for the next server
      job.step = 0;
      begun_[job.id] -= 1;
      save(job);
      return;
    }
    changed_.wait_for(lock, kGlance);
  }
}

void Jobs::stop_running(std::unique_lock<std::mutex>& lock) {
  const auto until = Clock::now() + kStopPatience;
  ::kill(-running_.pid, SIGTERM);
  while (is_running() && Clock::now() < until) {
    lock.unlock();
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    lock.lock();
  }
  // The keeper goes at once, the program clears up first: the group is what counts.
  while (::kill(-running_.pid, 0) == 0 && Clock::now() < until) {
    lock.unlock();
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    lock.lock();
  }
  ::kill(-running_.pid, SIGKILL);
  if (running_.own_child) ::waitpid(running_.pid, nullptr, 0);
  running_ = {};
}

void Jobs::end_step(Job& job, std::optional<int> code) {
  running_ = {};
  const std::string line = last_fault(folder_of(job.id) / "said");
  if (!code)
    return finish(job, JobState::crashed, "It was ended from outside. The photos are kept; start it again.");
  if (*code >= 128) {
    return finish(
        job, JobState::crashed,
        "It stopped unexpectedly (signal " + std::to_string(*code - 128) +
            "). The photos and earlier results are kept; start it again, or leave out the photo that "
            "came last.");
  }
  if (*code >= 2) return finish(job, JobState::failed, line.empty() ? "It could not be done." : line);
  job.step += 1;
  if (job.step < job.order.steps.size()) return start_step(job);
  if (whole_) {
    now_.seconds = seconds_since(since_);
    write_times(now_, times_of(job));
  }
  finish(job, JobState::done, *code == 0 ? "Done." : "Done; something needs work.");
}

void Jobs::finish(Job& job, JobState state, const std::string& message) {
  job.state = state;
  job.message = without(message, folder_.parent_path().parent_path().string() + "/");
  job.stage.clear();
  job.share.reset();
  job.seconds_left.reset();
  whole_ = false;
  save(job);
}

void Jobs::show_progress(Job& job) {
  job.seconds = seconds_since(since_);
  const std::string stage = last_stage(folder_of(job.id) / "said");
  if (stage.empty()) return;
  if (stage != job.stage) {
    job.stage = stage;
    stage_since_ = Clock::now();
    now_.stages.push_back({stage, job.seconds});
  }
  if (!whole_) return;
  const std::optional<JobTimes> earlier = read_times(times_of(job));
  if (!earlier) return;
  if (const auto told = forecast(*earlier, job.order.photos, stage, seconds_since(stage_since_))) {
    job.share = told->share;
    job.seconds_left = told->seconds_left;
  }
}

}  // namespace interstice::bench
