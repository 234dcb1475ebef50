#include "bench/jobs.h"

#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include <chrono>

#include "bench/child_process.h"
#include "core/own_folder.h"

namespace interstice::bench {
namespace {

using namespace std::chrono_literals;

// A stand-in for the program: its first argument is a script.
class JobsTest : public OwnFolder {
 protected:
  void SetUp() override {
    OwnFolder::SetUp();
    put(folder_ / "program", "#!/bin/sh\nsh -c \"$1\"\n");
    ::chmod((folder_ / "program").c_str(), 0755);
  }
  std::string program() const { return (folder_ / "program").string(); }
  fs::path jobs_folder() const { return folder_ / ".bench" / "jobs"; }
  static JobOrder order(const std::string& scan, std::vector<std::string> scripts) {
    JobOrder o{"measure", "bowl", scan, "Measuring " + scan, 20, {}};
    for (const std::string& script : scripts) o.steps.push_back({script});
    return o;
  }
  static Job ended(const Jobs& jobs, int id) {
    for (int i = 0; i < 400; ++i) {
      if (is_over(state(jobs, id).state)) break;
      std::this_thread::sleep_for(25ms);
    }
    return state(jobs, id);
  }
  static Job state(const Jobs& jobs, int id) {
    for (const Job& job : jobs.all()) {
      if (job.id == id) return job;
    }
    return {};
  }
  static void wait_for_file(const fs::path& file) {
    for (int i = 0; i < 400 && !fs::exists(file); ++i) std::this_thread::sleep_for(25ms);
    ASSERT_TRUE(fs::exists(file));
  }
};

TEST_F(JobsTest, EndsAsTheProgramEnds) {
  Jobs jobs(jobs_folder(), program());
  EXPECT_EQ(ended(jobs, jobs.add(order("a", {"exit 0"}))).state, JobState::done);
  const Job work = ended(jobs, jobs.add(order("b", {"exit 1"})));
  EXPECT_EQ(work.state, JobState::done);
  EXPECT_NE(work.message.find("needs work"), std::string::npos);
  const Job bad = ended(
      jobs, jobs.add(order("c", {"echo stage >&2; echo 'interstice: " + (folder_ / "plan.json").string() +
                                 ": no rim' >&2; exit 2"})));
  EXPECT_EQ(bad.state, JobState::failed);
  EXPECT_EQ(bad.message, "plan.json: no rim");
  const Job crash = ended(jobs, jobs.add(order("d", {"kill -SEGV $$"})));
  EXPECT_EQ(crash.state, JobState::crashed);
  EXPECT_NE(crash.message.find("signal 11"), std::string::npos) << crash.message;
}

TEST_F(JobsTest, StepsComeInARowAndStopAtAFault) {
  Jobs jobs(jobs_folder(), program());
  const fs::path mark = folder_ / "second";
  ended(jobs, jobs.add(order("a", {"exit 1", "touch " + mark.string()})));
  EXPECT_TRUE(fs::exists(mark));
  fs::remove(mark);
  EXPECT_EQ(ended(jobs, jobs.add(order("b", {"exit 3", "touch " + mark.string()}))).state, JobState::failed);
  EXPECT_FALSE(fs::exists(mark));
}

TEST_F(JobsTest, OneAtATimeAndTheSameOnlyOnce) {
  Jobs jobs(jobs_folder(), program());
  const int first = jobs.add(order("a", {"sleep 0.6"})), second = jobs.add(order("b", {"exit 0"}));
  EXPECT_EQ(jobs.add(order("a", {"sleep 0.6"})), first);
  EXPECT_EQ(jobs.add(order("b", {"exit 0"})), second);
  std::this_thread::sleep_for(300ms);
  EXPECT_EQ(state(jobs, first).state, JobState::running);
  EXPECT_EQ(state(jobs, second).state, JobState::waiting);
  ended(jobs, second);
  EXPECT_EQ(state(jobs, first).state, JobState::done);
}

TEST_F(JobsTest, CancelledItsChildrenEndAndTheNextBegins) {
  Jobs jobs(jobs_folder(), program());
  const fs::path begun = folder_ / "begun", done = folder_ / "done";
  const int first = jobs.add(order("a", {"touch " + begun.string() + "; sleep 30; touch " + done.string()}));
  const int second = jobs.add(order("b", {"exit 0"})), third = jobs.add(order("c", {"exit 0"}));
  wait_for_file(begun);
  jobs.cancel(third);
  EXPECT_EQ(state(jobs, third).state, JobState::cancelled);
  jobs.cancel(first);
  EXPECT_EQ(ended(jobs, first).state, JobState::cancelled);
  EXPECT_EQ(ended(jobs, second).state, JobState::done);
  EXPECT_FALSE(fs::exists(done));
}

TEST_F(JobsTest, ProgressIsToldAndLearnt) {
  Jobs jobs(jobs_folder(), program());
  const std::string script =
      "echo 'finding the form' >&2; sleep 0.7; echo 'measuring the seams' >&2; sleep 0.7";
  const int first = jobs.add(order("a", {script}));
  bool seen = false;
  for (int i = 0; i < 100 && !is_over(state(jobs, first).state); ++i) {
    seen |= state(jobs, first).stage == "finding the form";
    EXPECT_FALSE(state(jobs, first).share) << "nothing to go by yet";
    std::this_thread::sleep_for(20ms);
  }
  EXPECT_TRUE(seen);
  const int second = jobs.add(order("a", {script}));
  double last = 0, most_left = 0;
  for (int i = 0; i < 200 && !is_over(state(jobs, second).state); ++i) {
    const Job job = state(jobs, second);
    if (job.share) {
      EXPECT_GE(*job.share, last);
      last = *job.share;
      most_left = std::max(most_left, *job.seconds_left);
    }
    std::this_thread::sleep_for(20ms);
  }
  EXPECT_GT(last, 0.4);
  EXPECT_GT(most_left, 0.5);
  EXPECT_LT(most_left, 20);
}

// A server that ends in order stops its job and leaves it for the next one.
TEST_F(JobsTest, ClosedAndOpenedItBeginsAnew) {
  const fs::path begun = folder_ / "begun", done = folder_ / "done";
  int id = 0;
  {
    Jobs jobs(jobs_folder(), program());
    id = jobs.add(order("a", {"[ -e " + begun.string() + " ] && { touch " + done.string() +
                              "; exit 0; }; touch " + begun.string() + "; sleep 30"}));
    wait_for_file(begun);
  }
  EXPECT_FALSE(fs::exists(done));
  Jobs jobs(jobs_folder(), program());
  EXPECT_EQ(ended(jobs, id).state, JobState::done);
  EXPECT_TRUE(fs::exists(done));
}

// A server that is killed leaves its job running; the next one finds it, and its end.
TEST_F(JobsTest, KilledItsJobGoesOnAndIsFoundAgain) {
  const fs::path begun = folder_ / "begun", go = folder_ / "go";
  const pid_t server = ::fork();
  if (server == 0) {
    Jobs jobs(jobs_folder(), program());
    jobs.add(order("a", {"touch " + begun.string() + "; echo working >&2; while ! [ -e " + go.string() +
                         " ]; do sleep 0.05; done; exit 1"}));
    for (;;) std::this_thread::sleep_for(1s);
  }
  wait_for_file(begun);
  std::this_thread::sleep_for(300ms);
  ::kill(server, SIGKILL);
  ::waitpid(server, nullptr, 0);
  Jobs jobs(jobs_folder(), program());
  std::this_thread::sleep_for(500ms);
  EXPECT_EQ(state(jobs, 1).state, JobState::running);
  EXPECT_EQ(state(jobs, 1).stage, "working");
  put(go, "");
  const Job job = ended(jobs, 1);
  EXPECT_EQ(job.state, JobState::done);
  EXPECT_NE(job.message.find("needs work"), std::string::npos);
}

TEST_F(JobsTest, DamagedFilesHideNothingElse) {
  put(jobs_folder() / "000007" / "job.json", "{\"id\": 7, ");
  put(jobs_folder() / "nonsense" / "job.json", "[]");
  Jobs jobs(jobs_folder(), program());
  EXPECT_TRUE(jobs.all().empty());
  EXPECT_EQ(ended(jobs, jobs.add(order("a", {"exit 0"}))).state, JobState::done);
}

TEST(StageTimesTest, ForecastGrowsWithThePhotosAndStaysWithinItsStage) {
  const JobTimes earlier{20, 100, {{"cards", 0}, {"form", 40}, {"seams", 80}}};
  EXPECT_NEAR(forecast(earlier, 20, "form", 0)->share, 0.4, 1e-12);
  EXPECT_NEAR(forecast(earlier, 20, "form", 20)->seconds_left, 40, 1e-12);
  EXPECT_NEAR(forecast(earlier, 20, "form", 500)->share, 0.8, 1e-12);
  EXPECT_NEAR(forecast(earlier, 40, "form", 0)->seconds_left, 120, 1e-12);
  EXPECT_NEAR(forecast(earlier, 20, "seams", 500)->share, 1, 1e-12);
  EXPECT_FALSE(forecast(earlier, 20, "never seen", 1));
}

}  // namespace
}  // namespace interstice::bench
