#include "report/print_pdf.h"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cctype>
#include <cerrno>
#include <cstdio>
#include <filesystem>
#include <vector>

#include "core/errors.h"
#include "core/files.h"

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
  ~WorkFolder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  WorkFolder(const WorkFolder&) = delete;
  WorkFolder& operator=(const WorkFolder&) = delete;
  const fs::path& path() const { return path_; }

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
      char code[4];
      std::snprintf(code, sizeof code, "%%%02X", u);
      out += code;
    }
  }
  return out;
}

// Exit status of a program, its output thrown away; -1 when it cannot be started, as when it is not
// installed.
int run_silently(std::vector<std::string> words) {
  std::vector<char*> arguments;
  for (std::string& w : words) arguments.push_back(w.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  const int failed = posix_spawnp(&child, arguments[0], &actions, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (failed) return -1;
  int status = 0;
  while (waitpid(child, &status, 0) < 0 && errno == EINTR) {
  }
  return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
}

}  // namespace

std::string print_pdf(const std::string& page) {
  const WorkFolder folder;
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
  const int status = run_silently(words);
  if (status == -1 || status == 127) {
    throw core::InputError(
        "--pdf",
        "needs chromium to print (Debian package chromium); or open the page in any browser and "
        "print it there");
  }
  if (status != 0 || !fs::exists(printed))
    throw core::InputError("--pdf",
                           "chromium could not print the page; open it in any browser and print it there");
  std::string pdf = core::read_file(printed);
  if (pdf.rfind("%%EOF") == std::string::npos)
    throw core::InputError("--pdf", "chromium cut the PDF short; is the disk full?");
  return pdf;
}

}  // namespace interstice::report
