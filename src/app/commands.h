// The program's commands. Each adds itself to the command line and leaves, when chosen, the work to do in
// `chosen.run`. Only this folder parses arguments, prints or exits.
#pragma once

#include <functional>
#include <string>

#include "app/console.h"

namespace CLI {
class App;
}

namespace interstice::app {

enum ExitCode : int { kDone = 0, kNeedsWork = 1, kBadInput = 2, kUnmeasurable = 3 };

struct Chosen {
  std::function<int()> run;
};

// Options every command takes: --quiet, --json, --threads N, --progress.
struct CommonOptions {
  bool quiet = false;
  bool json = false;
  bool progress = false;
  int threads = 0;
};

void add_common_options(CLI::App& command, CommonOptions& options);
// --out and --replace of a command that writes a folder of results.
void add_result_options(CLI::App& command, std::string& out, bool& replace);

// One function per command.
void add_archive_command(CLI::App& app, Chosen& chosen);
void add_bench_command(CLI::App& app, Chosen& chosen);
void add_cards_command(CLI::App& app, Chosen& chosen);
void add_fit_command(CLI::App& app, Chosen& chosen);
void add_inspect_command(CLI::App& app, Chosen& chosen);
void add_lens_command(CLI::App& app, Chosen& chosen);
void add_plan_command(CLI::App& app, Chosen& chosen);
void add_pour_command(CLI::App& app, Chosen& chosen);
void add_refill_command(CLI::App& app, Chosen& chosen);
void add_report_command(CLI::App& app, Chosen& chosen);
void add_scan_command(CLI::App& app, Chosen& chosen);
void add_texts_command(CLI::App& app, Chosen& chosen);  // not listed: what is installed beside the program

}  // namespace interstice::app
