#include "report/print_pdf.h"

#include <fmt/core.h>

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cctype>
#include <cerrno>
#include <filesystem>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "core/errors.h"
#include "core/files.h"
#include "core/on_stop.h"

extern char** environ;

namespace interstice::report {
namespace {

namespace fs = std::filesystem;

// A folder of its own under the system's place for temporary files, removed with all in it.
class WorkFolder {
 public:
  WorkFolder() {
    std::string name = (fs::temp_directory_path() / "interstice-print-XXXXXX").string();
    if (!mkdtemp(name.data())) throw core::InputError(name, "cannot be made; is the disk full?");
    path_ = name;
  }
  ~WorkFolder() { remove(); }
  WorkFolder(const WorkFolder&) = delete;
  WorkFolder& operator=(const WorkFolder&) = delete;
  const fs::path& path() const { return path_; }
  // Programs that were ended a moment ago may still have been writing: once more, then.
  void remove() const {
    std::error_code ec;
    for (int round = 0; round < 5; ++round) {
      fs::remove_all(path_, ec);
      if (!ec && !fs::exists(path_, ec)) return;
      std::this_thread::sleep_for(std::chrono::milliseconds(50));
    }
  }

 private:
  fs::path path_;
};

std::string file_url(const fs::path& file) {
  std::string out = "file://";
  for (const char c : fs::absolute(file).lexically_normal().string()) {
    const auto u = static_cast<unsigned char>(c);
    if (std::isalnum(u) || c == '/' || c == '-' || c == '_' || c == '.' || c == '~') {
      out += c;
    } else {
      out += fmt::format("%{:02X}", u);
    }
  }
  return out;
}

// A program in a process group of its own, so that all it starts can be ended with it: on destruction, and
// when we are told to stop.
class OwnGroup {
 public:
  OwnGroup() = default;
  ~OwnGroup() { end(); }
  OwnGroup(const OwnGroup&) = delete;
  OwnGroup& operator=(const OwnGroup&) = delete;

  // Whether it could be started; its output is thrown away.
  bool start(std::vector<std::string> words) {
    std::vector<char*> arguments;
    for (std::string& w : words) arguments.push_back(w.data());
    arguments.push_back(nullptr);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
    posix_spawnattr_t attributes;
    posix_spawnattr_init(&attributes);
    sigset_t none;
    sigemptyset(&none);
    posix_spawnattr_setsigmask(&attributes, &none);  // ours is set to hold signals back
    posix_spawnattr_setpgroup(&attributes, 0);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK);
    const std::scoped_lock lock(mutex_);
    pid_t child = 0;
    const bool started =
        posix_spawnp(&child, arguments[0], &actions, &attributes, arguments.data(), environ) == 0;
    if (started) child_ = child;
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return started;
  }

  // Exit status; nothing when it is still at work after `limit`.
  std::optional<int> wait(std::chrono::milliseconds limit) {
    const auto until = std::chrono::steady_clock::now() + limit;
    for (;;) {
      {
        const std::scoped_lock lock(mutex_);
        int status = 0;
        const pid_t ended = child_ > 0 && !reaped_ ? ::waitpid(child_, &status, WNOHANG) : -1;
        if (ended < 0 && errno != EINTR) return 1;
        if (ended > 0) {
          reaped_ = true;
          return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
        }
      }
      if (std::chrono::steady_clock::now() >= until) return std::nullopt;
      std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
  }

  void end() {
    const std::scoped_lock lock(mutex_);
    if (child_ <= 0) return;
    ::kill(-child_, SIGKILL);
    while (!reaped_ && ::waitpid(child_, nullptr, 0) < 0 && errno == EINTR) {
    }
    child_ = 0;
  }

 private:
  std::mutex mutex_;
  pid_t child_ = 0;
  bool reaped_ = false;
};

}  // namespace

std::string print_pdf(const std::string& page, std::chrono::milliseconds limit) {
  const WorkFolder folder;
  OwnGroup browser;
  const core::OnStop stop([&] {
    browser.end();
    folder.remove();
  });
  core::write_new_file(folder.path() / "page.html", page);
  const fs::path printed = folder.path() / "page.pdf";
  std::vector<std::string> words = {"chromium",
                                    "--headless",
                                    "--disable-gpu",
                                    "--disable-quic",
                                    "--no-first-run",
                                    "--disable-background-networking",
                                    "--disable-component-update",
                                    "--disable-sync",
                                    "--no-pdf-header-footer",
                                    "--user-data-dir=" + (folder.path() / "profile").string(),
                                    "--print-to-pdf=" + printed.string()};
  if (geteuid() == 0)
    words.push_back("--no-sandbox");  // it refuses to run as root otherwise; the page is our own
  words.push_back(file_url(folder.path() / "page.html"));
  const std::optional<int> status = browser.start(words) ? browser.wait(limit) : 127;
  browser.end();
  if (!status) {
    throw core::InputError("--pdf", "chromium has not printed the page after " +
                                        std::to_string(limit.count() / 1000) +
                                        " s; open it in any browser and print it there");
  }
  if (status == 127) {
    throw core::InputError(
        "--pdf",
        "needs chromium to print (Debian package chromium); or open the page in any browser and "
        "print it there");
  }
  if (*status != 0 || !fs::exists(printed))
    throw core::InputError("--pdf",
                           "chromium could not print the page; open it in any browser and print it there");
  std::string pdf = core::read_file(printed);
  if (pdf.rfind("%%EOF") == std::string::npos)
    throw core::InputError("--pdf", "chromium cut the PDF short; is the disk full?");
  return pdf;
}

}  // namespace interstice::report
