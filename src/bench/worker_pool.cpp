#include "bench/worker_pool.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdint>
#include <future>

#include "bench/child_process.h"

namespace interstice::bench {

// One child and the socket to it.
class WorkerPool::Child {
 public:
  explicit Child(const std::vector<std::string>& command) {
    int ends[2];
    if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0) return;
    socket_ = ends[0];
    pid_ = start_child(command, {.input = ends[1], .output = ends[1]});
    ::close(ends[1]);
  }
  ~Child() {
    if (socket_ >= 0) ::close(socket_);
    if (pid_ <= 0) return;
    ::kill(pid_, SIGKILL);
    while (::waitpid(pid_, nullptr, 0) < 0 && errno == EINTR) {
    }
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  // Nothing as soon as nobody wants it any more.
  std::optional<std::string> ask(const std::string& line, std::chrono::milliseconds patience,
                                 const std::function<bool()>& is_wanted) {
    if (pid_ <= 0 || !send_all(line + "\n")) return std::nullopt;
    const auto until = std::chrono::steady_clock::now() + patience;
    std::string answer;
    for (;;) {
      const auto left =
          std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
      if (left.count() <= 0 || !is_wanted()) return std::nullopt;
      pollfd ready{socket_, POLLIN, 0};
      const int n = ::poll(&ready, 1, static_cast<int>(std::min<std::int64_t>(left.count(), kLookMs)));
      if (n == 0 || (n < 0 && errno == EINTR)) continue;
      if (n <= 0) return std::nullopt;
      char block[1 << 14];
      const ssize_t got = ::read(socket_, block, sizeof block);
      if (got <= 0) return std::nullopt;
      answer.append(block, static_cast<std::size_t>(got));
      if (answer.back() == '\n') return answer.substr(0, answer.size() - 1);
      if (answer.size() > kMostBytes) return std::nullopt;
    }
  }

 private:
  static constexpr std::size_t kMostBytes = 4 << 20;
  static constexpr std::int64_t kLookMs = 200;

  bool send_all(const std::string& text) const {
    for (std::size_t at = 0; at < text.size();) {
      const ssize_t n = ::send(socket_, text.data() + at, text.size() - at, MSG_NOSIGNAL);
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) return false;
      at += static_cast<std::size_t>(n);
    }
    return true;
  }

  int socket_ = -1;
  pid_t pid_ = -1;
};

WorkerPool::WorkerPool(std::vector<std::string> command, std::size_t children,
                       std::chrono::milliseconds patience)
    : command_(std::move(command)), patience_(patience) {
  for (std::size_t i = 0; i < children; ++i) threads_.emplace_back([this] { serve(); });
}

WorkerPool::~WorkerPool() {
  close();
}

void WorkerPool::close() {
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    ending_ = true;
  }
  asked_.notify_all();
  for (std::thread& thread : threads_) thread.join();
  threads_.clear();
  for (std::deque<Question>* left : {&waited_for_, &soon_}) {
    for (Question& question : *left) question.answer(std::nullopt);
    left->clear();
  }
}

bool WorkerPool::is_closed() {
  const std::lock_guard<std::mutex> lock(mutex_);
  return ending_;
}

void WorkerPool::ask(std::string line, Haste haste, Answer answer) {
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    if (!ending_) {
      (haste == Haste::somebody_waits ? waited_for_ : soon_).push_back({std::move(line), std::move(answer)});
      asked_.notify_one();
      return;
    }
  }
  answer(std::nullopt);
}

std::optional<std::string> WorkerPool::ask_and_wait(std::string line, Haste haste) {
  auto promise = std::make_shared<std::promise<std::optional<std::string>>>();
  std::future<std::optional<std::string>> answer = promise->get_future();
  ask(std::move(line), haste, [promise](std::optional<std::string> a) { promise->set_value(std::move(a)); });
  return answer.get();
}

std::optional<WorkerPool::Question> WorkerPool::next() {
  std::unique_lock<std::mutex> lock(mutex_);
  asked_.wait(lock, [&] { return ending_ || !waited_for_.empty() || !soon_.empty(); });
  if (ending_) return std::nullopt;
  std::deque<Question>& from = waited_for_.empty() ? soon_ : waited_for_;
  Question question = std::move(from.front());
  from.pop_front();
  return question;
}

void WorkerPool::serve() {
  std::unique_ptr<Child> child;
  while (std::optional<Question> question = next()) {
    if (!child) child = std::make_unique<Child>(command_);
    std::optional<std::string> answer = child->ask(question->line, patience_, [&] { return !is_closed(); });
    if (!answer) child.reset();
    question->answer(std::move(answer));
  }
}

}  // namespace interstice::bench
