// Work on what came from outside, done by children of this process: a picture that brings its reader down
// brings down a child, not the server.
//
// A child reads a line of JSON, does it, and answers with a line of JSON. One that dies, answers with
// something else, or takes too long is replaced; whoever asked gets nothing.
#pragma once

#include <chrono>
#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace interstice::bench {

class WorkerPool {
 public:
  using Answer = std::function<void(std::optional<std::string>)>;

  // `command`: the child's program and arguments.
  WorkerPool(std::vector<std::string> command, std::size_t children, std::chrono::milliseconds patience);
  ~WorkerPool();
  WorkerPool(const WorkerPool&) = delete;
  WorkerPool& operator=(const WorkerPool&) = delete;

  enum class Haste { somebody_waits, soon };

  // The answer comes on another thread.
  void ask(std::string line, Haste haste, Answer answer);
  // Ends the children; what was not asked yet, and is asked from now on, is answered with nothing.
  void close();
  bool is_closed();
  // Waits for it.
  std::optional<std::string> ask_and_wait(std::string line, Haste haste);

 private:
  struct Question {
    std::string line;
    Answer answer;
  };
  class Child;
  void serve();
  std::optional<Question> next();

  std::vector<std::string> command_;
  std::chrono::milliseconds patience_;
  std::mutex mutex_;
  std::condition_variable asked_;
  std::deque<Question> waited_for_, soon_;
  bool ending_ = false;
  std::vector<std::thread> threads_;
};

}  // namespace interstice::bench
