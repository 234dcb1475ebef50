#include <malloc.h>
#include <signal.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <exception>
#include <iostream>
#include <new>
#include <opencv2/core/utility.hpp>
#include <string>
#include <system_error>
#include <thread>

#include "app/command_line.h"
#include "app/commands.h"
#include "core/errors.h"
#include "core/on_stop.h"
#include "core/temporary.h"

namespace interstice::app {

void add_common_options(CLI::App& command, CommonOptions& options) {
  command.add_flag("--quiet", options.quiet, "Print nothing but errors");
  command.add_flag("--json", options.json, "Machine-readable result on standard output");
  command.add_flag("--progress", options.progress, "Report progress even when not on a terminal");
  command.add_option("--threads", options.threads, "Threads to use (default: all processors)")
      ->check(CLI::Range(0, 1024));
}

void add_result_options(CLI::App& command, std::string& out, bool& replace) {
  command.add_option("--out", out, "Folder for the results")->required();
  command.add_flag("--replace", replace,
                   "Put the results in the place of an earlier run's (never of anything else)");
}

namespace {

int run(int argc, char** argv) {
  CLI::App app{"interstice: which seams of a glued-up shell are too tight to fill, before resin is poured"};
  app.name("interstice");
  app.set_help_flag("-h,--help", "Show this help");
  app.require_subcommand(1);
  app.set_version_flag("--version", "interstice " INTERSTICE_VERSION, "Show the version");
  Chosen chosen;
  app.formatter_fn([](const CLI::App* command, const std::string& name, CLI::AppFormatMode) {
    return help_text(*command, name);
  });
  add_bench_command(app, chosen);  // the whole job, then its parts in their order
  add_cards_command(app, chosen);
  add_lens_command(app, chosen);
  add_plan_command(app, chosen);
  add_inspect_command(app, chosen);
  add_scan_command(app, chosen);
  add_fit_command(app, chosen);
  add_pour_command(app, chosen);
  add_refill_command(app, chosen);
  add_report_command(app, chosen);
  add_archive_command(app, chosen);
  add_texts_command(app, chosen);
  std::vector<std::string> words = understood(app, {argv + std::min(argc, 1), argv + argc});
  std::reverse(words.begin(), words.end());  // as the parser wants them
  try {
    app.parse(words);
  } catch (const CLI::ParseError& e) {
    if (e.get_exit_code() == 0) return app.exit(e);
    std::fprintf(stderr, "interstice: %s\n", core::one_line(e.what(), 400).c_str());
    return kBadInput;
  }
  return chosen.run ? chosen.run() : kBadInput;
}

int out_of_memory() {
  std::fprintf(stderr,
               "interstice: not enough memory; close other programs or use fewer or smaller photos\n");
  return kBadInput;
}

// Ctrl-C and the like: whatever is half done is cleared away, then the program ends with 128 + signal, as
// shells expect. Signals are taken by a thread of their own, where files may be removed safely; they stay
// blocked everywhere else. Signals the caller has told us to ignore stay ignored.
void stop_cleanly_on_signals() {
  sigset_t signals;
  sigemptyset(&signals);
  for (const int number : {SIGINT, SIGTERM, SIGHUP}) {
    struct sigaction now;
    if (sigaction(number, nullptr, &now) == 0 && now.sa_handler != SIG_IGN) sigaddset(&signals, number);
  }
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
  try {
    std::thread([signals] {
      int number = SIGINT;
      if (sigwait(&signals, &number) != 0) return;
      core::undo_on_stop();
      core::remove_unfinished();
      std::fputs("interstice: stopped; results of earlier runs are as they were\n", stderr);
      ::_exit(128 + number);
    }).detach();
  } catch (const std::system_error&) {
    // No thread can be started here: a signal ends the program at once, and the next run clears up.
    pthread_sigmask(SIG_UNBLOCK, &signals, nullptr);
  }
}

int guarded(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const core::InputError& e) {
    std::fprintf(stderr, "interstice: %s\n", core::one_line(e.what(), 600).c_str());
    return kBadInput;
  } catch (const core::MeasureError& e) {
    std::fprintf(stderr, "interstice: %s\n", core::one_line(e.what(), 600).c_str());
    return kUnmeasurable;
  } catch (const std::bad_alloc&) {
    return out_of_memory();
  } catch (const std::system_error& e) {
    const bool threads = e.code() == std::errc::resource_unavailable_try_again;
    std::fprintf(
        stderr, "interstice: %s\n",
        threads ? "no further thread can be started; raise the limit on processes (ulimit -u), or end some"
                : core::one_line(e.what(), 600).c_str());
    return kBadInput;
  } catch (const std::exception& e) {
    // As the image library says it.
    if (std::string(e.what()).find("nsufficient memory") != std::string::npos) return out_of_memory();
    std::fprintf(stderr, "interstice: %s\n", core::one_line(e.what(), 600).c_str());
    return kBadInput;
  }
}

// What was printed must have arrived: a full disk behind `--json > file` is an error like any other.
int printed(int code) {
  std::cout.flush();
  const bool whole = std::fflush(stdout) == 0 && std::ferror(stdout) == 0 && std::cout.good();
  if (whole) return code;
  std::fprintf(stderr, "interstice: standard output: cannot be written%s\n",
               errno == ENOSPC ? ": the disk is full; make room and try again" : "");
  return kBadInput;
}

}  // namespace
}  // namespace interstice::app

int main(int argc, char** argv) {
  // Large pictures come and go; keeping their memory saves the page faults of fetching it anew each time.
  mallopt(M_MMAP_MAX, 0);
  mallopt(M_TRIM_THRESHOLD, 512 << 20);
  // Threads are given out by core::parallel_for, which does with fewer where the system starts no more; the image
  // library's own pool insists on them and knows nothing of --threads.
  cv::setNumThreads(1);
  signal(SIGXFSZ, SIG_IGN);  // a limit on file sizes is then an error of writing, said in one line
  interstice::app::stop_cleanly_on_signals();
  return interstice::app::printed(interstice::app::guarded(argc, argv));
}
