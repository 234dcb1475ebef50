#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>
#include <memory>

#include "app/measuring.h"
#include "app/number_between.h"
#include "app/one_of.h"
#include "core/errors.h"
#include "core/files.h"
#include "fit/corrections.h"
#include "report/bench_list.h"
#include "scan/scan_document.h"
#include "surface/surface_document.h"

namespace interstice {
namespace {

struct FitArguments {
  CommonOptions common;
  std::string scan, plan, out, apply;
  CorrectionOptions::Prefer prefer = CorrectionOptions::Prefer::least;
  std::optional<double> smallest_fill_mm;
  bool glued = false;
  std::vector<std::string> locked;
};

CorrectionOptions correction_options(const FitArguments& arguments) {
  CorrectionOptions options;
  options.glued = arguments.glued;
  options.locked = arguments.locked;
  options.threads = arguments.common.threads;
  options.prefer = arguments.prefer;
  return options;
}

void print_changes(const FitDocument& before, const FitDocument& after) {
  for (const WidthChange& c : width_changes(before, after)) {
    const std::string name = c.tiles[0] + " - " + c.tiles[1];
    std::printf("%-13s  %5.2f -> %5.2f mm +- %.2f  %s\n", name.c_str(), c.before_mm, c.after_mm, c.u95_mm,
                name_of(c.after));
  }
}

int run_fit(const FitArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const Plan plan = read_plan(arguments.plan);
  std::vector<Correction> to_apply;
  if (!arguments.apply.empty()) to_apply = parse_corrections(read_file(arguments.apply), arguments.apply);
  const Scan scan = read_scan(arguments.scan);
  const Surface surface = read_surface(arguments.scan);
  FitOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm.value_or(plan.smallest_fill_mm);
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  FitDocument fit = fit_pieces(scan, surface, plan, options);
  if (!arguments.apply.empty()) {
    const FitDocument after = apply_corrections(fit, plan, to_apply, arguments.common.threads);
    if (!arguments.common.quiet && !arguments.common.json) print_changes(fit, after);
    fit = after;
  }
  progress.step("working out the least work");
  put_corrections(propose_corrections(fit, plan, correction_options(arguments)), fit);
  const std::string json = write_fit(fit);
  write_file_atomically(arguments.out, json);
  if (arguments.common.json) {
    std::fputs(json.c_str(), stdout);
  } else if (!arguments.common.quiet) {
    std::fputs(work_order(fit).c_str(), stdout);
    std::fputs(bench_list(fit).c_str(), stdout);
  }
  return all_clear(fit) ? kDone : kNeedsWork;
}

}  // namespace

void add_fit_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<FitArguments>();
  CLI::App* command =
      app.add_subcommand("fit", "Seam widths and verdicts of a scan, and the least work that frees them");
  command->add_option("scan", arguments->scan, "Folder written by `interstice scan`")->required();
  command->add_option("--plan", arguments->plan, "The plan of the pieces, plan.json")->required();
  command->add_option("--out", arguments->out, "File to write, such as fit.json")->required();
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the plan's)")
      ->check(number_between(0.05, 50.0));
  command->add_option("--apply", arguments->apply,
                      "What if: widths after these corrections (a fit.json or a list)");
  using Prefer = CorrectionOptions::Prefer;
  const std::map<std::string, Prefer> preferences{
      {"least", Prefer::least}, {"sand", Prefer::sand}, {"move", Prefer::move}};
  command->add_option("--prefer", arguments->prefer, "Rather sand or rather move pieces")
      ->transform(one_of(preferences));
  command->add_flag("--glued", arguments->glued, "Pieces cannot be moved any more");
  command->add_option("--lock", arguments->locked,
                      "Label of a piece that must stay as it is; may be repeated");
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_fit(*arguments); }; });
}

}  // namespace interstice
