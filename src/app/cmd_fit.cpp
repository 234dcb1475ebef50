#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>
#include <memory>

#include "app/measuring.h"
#include "app/number_between.h"
#include "app/one_of.h"
#include "app/photo_memory.h"
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
  rework::CorrectionOptions::Prefer prefer = rework::CorrectionOptions::Prefer::least;
  std::optional<double> smallest_fill_mm;
  bool glued = false;
  std::vector<std::string> locked;
};

rework::CorrectionOptions correction_options(const FitArguments& arguments) {
  rework::CorrectionOptions options;
  options.glued = arguments.glued;
  options.locked = arguments.locked;
  options.threads = arguments.common.threads;
  options.prefer = arguments.prefer;
  return options;
}

void print_changes(const seams::FitDocument& before, const seams::FitDocument& after) {
  for (const rework::WidthChange& c : rework::width_changes(before, after)) {
    const std::string name = c.tiles[0] + " - " + c.tiles[1];
    std::printf("%-13s  %5.2f -> %5.2f mm +- %.2f  %s\n", name.c_str(), c.before_mm, c.after_mm, c.u95_mm,
                seams::name_of(c.after));
  }
}

int run_fit(const FitArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const plan::Plan plan = plan::read_plan(arguments.plan);
  std::vector<seams::Correction> to_apply;
  if (!arguments.apply.empty())
    to_apply = rework::parse_corrections(core::read_file(arguments.apply), arguments.apply);
  core::OutputFile out(arguments.out, core::FileKind::json("interstice-fit"),
                       {arguments.scan, arguments.plan, arguments.apply});
  const scan::Scan scan = scan::read_scan(
      arguments.scan, {.folder = arguments.photos, .remembered = remembered_photos(arguments.scan)});
  const surface::Surface surface = surface::read_surface(arguments.scan);
  seams::FitOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm.value_or(plan.smallest_fill_mm);
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  seams::FitDocument fit = seams::fit_pieces(scan, surface, plan, options);
  if (!arguments.apply.empty()) {
    const seams::FitDocument after = rework::apply_corrections(fit, plan, to_apply, arguments.common.threads);
    if (!arguments.common.quiet && !arguments.common.json) print_changes(fit, after);
    fit = after;
  }
  progress.step("working out the least work");
  rework::put_corrections(rework::propose_corrections(fit, plan, correction_options(arguments)), fit);
  const std::string json = seams::write_fit(fit);
  out.write(json);
  if (arguments.common.json) {
    std::fputs(json.c_str(), stdout);
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
  command->add_option("scan", arguments->scan, "Folder written by `interstice scan`")->required();
  command->add_option("--plan", arguments->plan, "The plan of the pieces, plan.json")->required();
  command->add_option("--photos", arguments->photos, "Folder the photos are in now, if they have moved");
  command->add_option("--out", arguments->out, "File to write, such as fit.json")->required();
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the plan's)")
      ->check(number_between(0.05, 50.0));
  command->add_option("--apply", arguments->apply,
                      "What if: widths after these corrections (a fit.json or a list)");
  using Prefer = rework::CorrectionOptions::Prefer;
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

}  // namespace interstice::app
