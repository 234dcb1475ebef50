#include "bench/child_process.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <fstream>
#include <sstream>

extern char** environ;

namespace interstice::bench {
namespace {

void set_channel(posix_spawn_file_actions_t& actions, int from, int to) {
  if (from >= 0) {
    posix_spawn_file_actions_adddup2(&actions, from, to);
  } else {
    posix_spawn_file_actions_addopen(&actions, to, "/dev/null", O_RDWR, 0);
  }
}

}  // namespace

pid_t start_child(const std::vector<std::string>& command, const ChildChannels& channels) {
  std::vector<char*> arguments;
  for (const std::string& argument : command) arguments.push_back(const_cast<char*>(argument.c_str()));
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  set_channel(actions, channels.input, STDIN_FILENO);
  set_channel(actions, channels.output, STDOUT_FILENO);
  set_channel(actions, channels.errors, STDERR_FILENO);
  posix_spawn_file_actions_addclosefrom_np(&actions, STDERR_FILENO + 1);
  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  sigset_t none;
  sigemptyset(&none);
  posix_spawnattr_setsigmask(&attributes, &none);
  short flags = POSIX_SPAWN_SETSIGMASK;
  if (channels.own_session) flags = static_cast<short>(flags | POSIX_SPAWN_SETSID);
  posix_spawnattr_setflags(&attributes, flags);
  pid_t pid = -1;
  if (::posix_spawn(&pid, command[0].c_str(), &actions, &attributes, arguments.data(), environ) != 0)
    pid = -1;
  posix_spawn_file_actions_destroy(&actions);
  posix_spawnattr_destroy(&attributes);
  return pid;
}

unsigned long long process_start(pid_t pid) {
  std::ifstream file("/proc/" + std::to_string(pid) + "/stat");
  std::string line;
  std::getline(file, line);
  const std::size_t name_end = line.rfind(')');  // the program's name may hold anything
  if (name_end == std::string::npos) return 0;
  std::istringstream fields(line.substr(name_end + 1));
  std::string state, skipped;
  fields >> state;
  for (int i = 0; i < 18; ++i) fields >> skipped;  // start time is field 22, state field 3
  unsigned long long start = 0;
  fields >> start;
  return state == "Z" || state == "X" ? 0 : start;
}

std::optional<std::string> run_and_read(const std::vector<std::string>& command,
                                        std::chrono::milliseconds patience, std::size_t most_bytes) {
  int ends[2];
  if (::pipe2(ends, O_CLOEXEC) != 0) return std::nullopt;
  const pid_t pid = start_child(command, {.output = ends[1], .errors = ends[1]});
  ::close(ends[1]);
  const auto until = std::chrono::steady_clock::now() + patience;
  std::string text;
  bool whole = false;
  while (pid > 0 && !whole) {
    const auto left =
        std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
    pollfd ready{ends[0], POLLIN, 0};
    const int n = left.count() > 0 ? ::poll(&ready, 1, static_cast<int>(left.count())) : 0;
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) break;
    char block[1 << 14];
    const ssize_t got = ::read(ends[0], block, sizeof block);
    whole = got <= 0 || text.size() > most_bytes;
    if (got > 0) text.append(block, static_cast<std::size_t>(got));
  }
  ::close(ends[0]);
  if (pid > 0) {
    ::kill(pid, SIGKILL);
    while (::waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {
    }
  }
  return whole ? std::optional<std::string>(text) : std::nullopt;
}

std::string own_program() {
  return std::filesystem::read_symlink("/proc/self/exe").string();
}

}  // namespace interstice::bench
