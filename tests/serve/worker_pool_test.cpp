#include "bench/worker_pool.h"

#include <atomic>

#include "bench/worker.h"
#include "core/own_folder.h"

namespace interstice::bench {
namespace {

using namespace std::chrono_literals;
using Haste = WorkerPool::Haste;

// Stands in for the program's reader: repeats what it is asked, dies of "die", never answers "sleep".
const std::vector<std::string> kStandIn{"/bin/sh", "-c",
                                        "while read -r line; do case $line in die) kill -SEGV $$;; sleep) "
                                        "sleep 60;; *) echo \"$line\";; esac; done"};

TEST(WorkerPoolTest, AnswersWhatItIsAsked) {
  WorkerPool pool(kStandIn, 2, 5s);
  for (int i = 0; i < 20; ++i)
    EXPECT_EQ(pool.ask_and_wait("q" + std::to_string(i), Haste::soon), "q" + std::to_string(i));
}

TEST(WorkerPoolTest, AChildThatDiesCostsOneAnswerAndNoMore) {
  WorkerPool pool(kStandIn, 2, 5s);
  std::atomic<int> answered{0}, nothing{0};
  for (int i = 0; i < 30; ++i) {
    pool.ask(i % 3 == 1 ? "die" : "fine", Haste::soon,
             [&](std::optional<std::string> a) { ++(a ? answered : nothing); });
  }
  for (int i = 0; i < 200 && answered + nothing < 30; ++i) std::this_thread::sleep_for(50ms);
  EXPECT_EQ(answered, 20);
  EXPECT_EQ(nothing, 10);
  EXPECT_EQ(pool.ask_and_wait("still here", Haste::soon), "still here");
}

TEST(WorkerPoolTest, OneThatTakesTooLongIsReplaced) {
  WorkerPool pool(kStandIn, 1, 300ms);
  EXPECT_EQ(pool.ask_and_wait("sleep", Haste::soon), std::nullopt);
  EXPECT_EQ(pool.ask_and_wait("awake", Haste::soon), "awake");
}

TEST(WorkerPoolTest, WhoWaitsComesFirst) {
  WorkerPool pool({"/bin/sh", "-c", "while read -r line; do sleep 0.05; echo \"$line\"; done"}, 1, 5s);
  std::atomic<int> soon{0};
  for (int i = 0; i < 20; ++i) pool.ask("later", Haste::soon, [&](const auto&) { ++soon; });
  EXPECT_EQ(pool.ask_and_wait("now", Haste::somebody_waits), "now");
  EXPECT_LT(soon, 5);
}

TEST(WorkerPoolTest, AProgramThatIsNotThereAnswersNothing) {
  WorkerPool pool({"/nowhere/at-all"}, 1, 5s);
  EXPECT_EQ(pool.ask_and_wait("hello", Haste::soon), std::nullopt);
}

TEST(WorkerPoolTest, EndsWithoutWaitingForAChildAtWork) {
  WorkerPool pool(kStandIn, 1, 60s);
  std::atomic<int> answered{0};
  pool.ask("sleep", Haste::soon, [&](const auto&) { ++answered; });
  std::this_thread::sleep_for(300ms);  // the child has it
  const auto began = std::chrono::steady_clock::now();
  pool.close();
  EXPECT_LT(std::chrono::steady_clock::now() - began, 20s);
  EXPECT_EQ(answered, 1);
}

TEST(WorkerPoolTest, EveryQuestionIsAnsweredWhenItEnds) {
  std::atomic<int> answered{0};
  {
    WorkerPool pool(kStandIn, 1, 300ms);
    for (int i = 0; i < 10; ++i) pool.ask("sleep", Haste::soon, [&](const auto&) { ++answered; });
  }
  EXPECT_EQ(answered, 10);
}

// The reader itself, asked as the pool asks it.
class WorkerTest : public OwnFolder {};

TEST_F(WorkerTest, SaysWhatItCannotDo) {
  EXPECT_NE(answer_question("no json").find("\"ok\":false"), std::string::npos);
  EXPECT_NE(answer_question("{\"do\":\"clean\"}").find("\"ok\":false"), std::string::npos);
  put(folder_ / "zip.jpg", "PK\x03\x04 not a photo");
  const std::string answer = answer_question("{\"do\":\"clean\",\"in\":\"" + (folder_ / "zip.jpg").string() +
                                             "\",\"out\":\"" + (folder_ / "out").string() + "\"}");
  EXPECT_NE(answer.find("is no photo"), std::string::npos) << answer;
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

TEST_F(WorkerTest, ADialOfNothingIsEmpty) {
  EXPECT_TRUE(parse_dial("rubbish").standpoints.empty());
  EXPECT_TRUE(parse_dial("{\"ok\":false,\"fault\":\"x\"}").standpoints.empty());
  const Dial dial = parse_dial(
      "{\"ok\":true,\"card_at_twelve\":3,\"standpoints\":[{\"photo\":\"a.jpg\",\"clock_deg\":1,\"height_"
      "deg\":2,"
      "\"distance_mm\":3}]}");
  EXPECT_EQ(dial.card_at_twelve, 3);
  ASSERT_EQ(dial.standpoints.size(), 1u);
  EXPECT_EQ(dial.standpoints[0].height_deg, 2);
}

}  // namespace
}  // namespace interstice::bench
