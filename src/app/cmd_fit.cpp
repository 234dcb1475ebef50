#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "app/measuring.h"
#include "app/number_between.h"
#include "app/photo_memory.h"
#include "app/result_input.h"
#include "app/reworking.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/output_file.h"
#include "report/bench_list.h"
#include "rework/corrections.h"
#include "scan/scan_document.h"
#include "surface/surface_document.h"

namespace interstice::app {
namespace {

struct FitArguments {
  CommonOptions common;
  std::string scan, plan, photos, out, apply;
  std::optional<double> smallest_fill_mm;
  MakingArguments making;
  ReworkArguments rework;
};

void print_changes(const seams::FitDocument& before, const seams::FitDocument& after) {
  for (const rework::WidthChange& c : rework::width_changes(before, after)) {
    const std::string name = c.tiles[0] + " - " + c.tiles[1];
    std::printf("%-13s  %5.2f -> %5.2f mm +- %.2f", name.c_str(), c.before_mm, c.after_mm, c.u95_mm);
    if (c.throat_before_mm && c.throat_after_mm)
      std::printf(", behind %5.2f -> %5.2f", *c.throat_before_mm, *c.throat_after_mm);
    std::printf("  %s\n", seams::name_of(c.after));
  }
}

int run_fit(const FitArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const std::string scan_folder = scan_in(arguments.scan),
                    plan_file = plan_for(arguments.plan, arguments.scan);
  const plan::Plan plan = plan_made(plan::read_plan(plan_file), arguments.making);
  check_locked(arguments.rework, plan);
  std::vector<seams::Correction> to_apply;
  if (!arguments.apply.empty())
    to_apply = rework::parse_corrections(core::read_file(arguments.apply), arguments.apply);
  core::OutputFile out(arguments.out, core::FileKind::json("interstice-fit"),
                       {scan_folder, plan_file, arguments.apply});
  const scan::Scan scan = scan::read_scan(
      scan_folder, {.folder = arguments.photos, .remembered = remembered_photos(scan_folder)});
  const surface::Surface surface = surface::read_surface(scan_folder);
  seams::FitOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm.value_or(plan.smallest_fill_mm);
  options.finished_wall = plan.finished_wall;
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  seams::FitDocument fit = seams::fit_pieces(scan, surface, plan, options);
  if (!arguments.apply.empty()) {
    const seams::FitDocument after = rework::apply_corrections(fit, plan, to_apply, arguments.common.threads);
    if (!arguments.common.quiet && !arguments.common.json) print_changes(fit, after);
    fit = after;
  }
  progress.step("working out the least work");
  rework::put_corrections(
      rework::propose_corrections(fit, plan, correction_options(arguments.rework, arguments.common.threads)),
      fit);
  const std::string json = seams::write_fit(fit);
  out.write(json);
  if (arguments.common.json) {
    print_json_document(json);
  } else if (!arguments.common.quiet) {
    std::fputs(rework::work_order(fit).c_str(), stdout);
    std::fputs(report::bench_list(fit).c_str(), stdout);
  }
  return report::all_clear(fit) ? kDone : kNeedsWork;
}

}  // namespace

void add_fit_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<FitArguments>();
  CLI::App* command =
      app.add_subcommand("fit", "Seam widths and verdicts of a scan, and the least work that frees them");
  command->add_option("scan", arguments->scan, "Folder written by `interstice scan` or `inspect`")
      ->required();
  command->add_option("--plan", arguments->plan, "The plan of the pieces (default: plan.json there)");
  command->add_option("--photos", arguments->photos, "Folder the photos are in now, if they have moved");
  command->add_option("--out", arguments->out, "File to write, such as fit.json")->required();
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the plan's)")
      ->check(number_between(0.05, 50.0));
  add_making_options(*command, arguments->making);
  command->add_option("--apply", arguments->apply,
                      "What if: widths after these corrections (a fit.json or a list)");
  add_rework_options(*command, arguments->rework);
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_fit(*arguments); }; });
}

}  // namespace interstice::app
