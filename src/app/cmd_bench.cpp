#include <malloc.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <cstdlib>
#include <future>
#include <memory>
#include <mutex>

#include "app/commands.h"
#include "bench/bench.h"
#include "bench/child_process.h"
#include "bench/qr_code.h"
#include "bench/worker.h"
#include "core/errors.h"
#include "core/on_stop.h"

namespace interstice::app {
namespace {

constexpr std::uint16_t kUsualPort = 8417;
constexpr int kPortsTried = 10;  // several benches, each with a folder of its own

struct BenchArguments {
  CommonOptions common;
  std::string folder;
  bool lan = false, worker = false;
  std::optional<std::uint16_t> port;
};

std::string usual_folder() {
  const char* home = std::getenv("HOME");
  if (home == nullptr || *home == '\0') throw core::InputError("name a folder for the bench");
  return std::string(home) + "/interstice";
}

// Who may look over the shoulder: the code is on the screen alone, never in the log.
void show_way_in(const bench::Bench& bench, const BenchArguments& arguments) {
  if (arguments.common.json) {
    std::printf("{\"port\":%d,\"page\":\"%s\"}\n", bench.port(), bench.own_page().c_str());
  } else if (!arguments.common.quiet) {
    std::printf("On this computer open:  %s\n", bench.own_page().c_str());
    const std::vector<std::string> pages = bench.lan_pages();
    for (const std::string& page : pages) std::printf("On the phone open:      %s\n", page.c_str());
    if (!pages.empty() && ::isatty(STDOUT_FILENO) == 1)
      std::fputs(bench::qr_for_terminal(pages[0]).c_str(), stdout);
    if (arguments.lan && pages.empty())
      std::printf("This computer is on no network that a phone could reach it by.\n");
    if (arguments.lan) {
      std::printf(
          "Each code lets one device in. The connection is not encrypted: use a network of your own.\n");
    } else {
      std::printf("Phones are let in with --lan.\n");
    }
    std::printf("Ctrl-C ends it.\n");
  }
  std::fflush(stdout);
}

std::unique_ptr<bench::Bench> open_bench(const BenchArguments& arguments, bench::BenchOptions options) {
  const int tries = arguments.port ? 1 : kPortsTried;
  for (int i = 0;; ++i) {
    options.port = static_cast<std::uint16_t>(arguments.port.value_or(kUsualPort) + i);
    try {
      return std::make_unique<bench::Bench>(options);
    } catch (const bench::PortTaken&) {
      if (i + 1 == tries) throw;
    }
  }
}

int run_bench(const BenchArguments& arguments) {
  if (arguments.worker) {
    bench::work_for_bench();
    return kDone;
  }
  // A server lives for days: what a request took goes back (measuring keeps it, see main.cpp).
  mallopt(M_MMAP_MAX, 1 << 16);
  mallopt(M_TRIM_THRESHOLD, 1 << 20);
  mallopt(M_ARENA_MAX, 4);
  std::mutex printing;
  std::unique_ptr<bench::Bench> bench;
  bench::BenchOptions options;
  options.folder = arguments.folder.empty() ? usual_folder() : arguments.folder;
  options.lan = arguments.lan;
  options.program = bench::own_program();
  options.log = [&](const std::string& line) {
    const std::lock_guard<std::mutex> lock(printing);
    if (!arguments.common.quiet) std::fprintf(stderr, "%s\n", core::one_line(line, 300).c_str());
  };
  options.on_paired = [&] {
    const std::lock_guard<std::mutex> lock(printing);
    if (bench) show_way_in(*bench, arguments);
  };
  std::promise<void> told_to_stop, stopped;
  const core::OnStop on_stop([&] {
    told_to_stop.set_value();
    stopped.get_future().wait();
  });
  {
    std::unique_ptr<bench::Bench> opened = open_bench(arguments, options);
    const std::lock_guard<std::mutex> lock(printing);
    bench = std::move(opened);
    show_way_in(*bench, arguments);
  }
  told_to_stop.get_future().wait();
  {
    const std::lock_guard<std::mutex> lock(printing);
    if (!arguments.common.quiet)
      std::fprintf(stderr, "closing; work that is not done goes on at the next start\n");
  }
  std::unique_ptr<bench::Bench> closing;
  {
    const std::lock_guard<std::mutex> lock(printing);
    closing = std::move(bench);
  }
  closing.reset();
  stopped.set_value();
  return kDone;
}

}  // namespace

void add_bench_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<BenchArguments>();
  CLI::App* command =
      app.add_subcommand("bench", "The whole job in a browser, photos straight from the phone");
  command->add_option("folder", arguments->folder, "Folder of all bowls (default: interstice in your home)");
  command->add_flag("--lan", arguments->lan, "Let phones on the same network in (by a code, one by one)");
  command->add_option("--port", arguments->port, "Port to serve at (default: 8417, or one of the next)")
      ->check(CLI::Range(0, 65535));
  command->add_flag("--worker", arguments->worker)->group("");
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_bench(*arguments); }; });
}

}  // namespace interstice::app
