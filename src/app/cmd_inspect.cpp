#include <CLI/CLI.hpp>
#include <cstdio>
#include <future>
#include <memory>
#include <system_error>

#include "app/measuring.h"
#include "app/number_between.h"
#include "app/reworking.h"
#include "core/errors.h"
#include "core/file_kind.h"
#include "core/files.h"
#include "core/parallel.h"
#include "pour/plan_pours.h"
#include "refill/poured_check.h"
#include "report/bench_list.h"
#include "report/page.h"
#include "report/photo_marks.h"
#include "rework/corrections.h"
#include "surface/cloud.h"

namespace interstice::app {
namespace {

struct InspectArguments : MeasuringArguments {
  std::string resin;
  MakingArguments making;
  ReworkArguments rework;
};

// What freeing each seam is worth: its own tight length and the length of seam that resin reaches through it.
std::vector<double> seam_values(const seams::FitDocument& fit, const pour::PourDocument& pour) {
  std::vector<double> values;
  for (const seams::FitSeam& seam : fit.seams) {
    values.push_back(seam.tight_length_mm + seam.pinched_length_mm +
                     pour::freed_length_mm(pour, seam.tiles[0], seam.tiles[1]));
  }
  return values;
}

std::string page_of(const MeasuredScan& measured, const seams::FitDocument& fit, const std::string& pour_json,
                    int threads) {
  report::PageInput input{fit,
                          measured.plan,
                          measured.scan,
                          measured.surface.heights,
                          measured.surface.ortho_grid,
                          measured.surface.ortho,
                          report::parse_pour_sheet(pour_json, "pour.json"),
                          {},
                          report::PagePaper::any,
                          threads};
  return report::report_page(input);
}

// What resin reaches and the least work. The work needs only what is stranded, and its solver runs on one
// thread: it goes on beside the search for tilts and beside the writing of what does not depend on it.
struct Planned {
  pour::PourDocument pour;
  std::future<rework::CorrectionResult> work;
};

Planned plan_work(const InspectArguments& arguments, const seams::FitDocument& fit, const plan::Plan& plan,
                  const std::optional<pour::Resin>& resin) {
  Planned planned;
  pour::PourOptions options;
  options.threads = arguments.common.threads;
  const pour::ResinReach reach(fit, plan, options);
  rework::CorrectionOptions corrections = correction_options(arguments.rework, arguments.common.threads);
  corrections.seam_value = seam_values(fit, reach.document());
  const bool alone = core::thread_count(arguments.common.threads) == 1;
  const auto work = [&fit, &plan, corrections] {
    return rework::propose_corrections(fit, plan, corrections);
  };
  try {
    planned.work = std::async(alone ? std::launch::deferred : std::launch::async, work);
  } catch (const std::system_error&) {  // no more threads to be had: when it is asked for, then
    planned.work = std::async(std::launch::deferred, work);
  }
  planned.pour = reach.with_pours(resin, options);
  return planned;
}

// Widths between pieces with resin in between are of no use any more.
void warn_of_resin(const scan::Scan& scan, const refill::Pictures& pictures, int threads,
                   seams::FitDocument& fit) {
  const auto views = refill::seam_views(scan, pictures, fit, threads);
  if (views && views->surely_filled()) {
    fit.warnings.push_back(
        "resin stands in the seams: these photos show the shell after a pour; for what stayed hollow use "
        "`interstice refill PHOTOS --after RESULT` with the result of before the pour");
  }
}

// Pieces and seams; the photos' pictures are let go with it.
seams::FitDocument fit_measured(const MeasuredScan& measured, const seams::FitOptions& options) {
  const auto pictures = surface::read_pictures(measured.scan, 0, true, options.threads);
  seams::FitDocument fit =
      seams::fit_pieces(measured.scan, pictures, measured.surface, measured.plan, options);
  warn_of_resin(measured.scan, pictures, options.threads, fit);
  return fit;
}

// All results in which the least work does not occur.
void write_measured(const MeasuredScan& measured, const std::string& pour_json,
                    const std::filesystem::path& out) {
  std::filesystem::create_directory(out / "scan");
  write_scan_folder(measured, out / "scan");
  core::write_new_file(out / "pour.json", pour_json);
  core::write_new_file(out / "plan.json", plan::write_plan(measured.plan));
  surface::write_cloud(measured.surface, measured.plan, out / "cloud.ply");
}

int run_inspect(const InspectArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress, inspect_stages());
  std::optional<pour::Resin> resin;
  if (!arguments.resin.empty()) resin = pour::read_resin(arguments.resin);
  const plan::Plan plan = plan_made(plan::read_plan(arguments.plan), arguments.making);
  check_locked(arguments.rework, plan);
  core::ResultOf result = result_of(arguments, "inspect", plan);
  result.inputs.add(arguments.resin);
  core::ResultFolder folder(arguments.out, std::move(result));
  const MeasuredScan measured = measure_scan(arguments, plan, progress);
  seams::FitOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm.value_or(measured.plan.smallest_fill_mm);
  options.finished_wall = measured.plan.finished_wall;
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  seams::FitDocument fit = fit_measured(measured, options);
  progress.step("what resin reaches");
  Planned planned = plan_work(arguments, fit, measured.plan, resin);
  progress.step("working out the least work");
  const std::filesystem::path& out = folder.work();
  const std::string pour_json = pour::write_pour(planned.pour);
  write_measured(measured, pour_json, out);
  rework::put_corrections(planned.work.get(), fit);

  progress.step("writing the results");
  const std::string json = seams::write_fit(fit);
  core::write_new_file(out / "fit.json", json);
  core::write_new_file(out / "seams.csv", report::seams_csv(fit));
  write_marked_photos(report::mark_photos(measured.scan, fit, kMarkedPx, arguments.common.threads),
                      out / "marked");
  core::write_new_file(out / "report.html", core::FileKind::page().sealed(
                                                page_of(measured, fit, pour_json, arguments.common.threads)));
  folder.commit();

  if (arguments.common.json) {
    print_json_document(json);
  } else if (!arguments.common.quiet) {
    std::fputs(measurement_notes(fit).c_str(), stdout);
    const std::string& lens_note = measured.scan.quality.lens_note;
    if (!lens_note.empty()) std::printf("%s\n", lens_note.c_str());
    const std::string& pixels_note = measured.scan.quality.pixels_note;
    if (!pixels_note.empty()) std::printf("%s\n", pixels_note.c_str());
    std::fputs(rework::work_order(fit).c_str(), stdout);
    std::fputs(report::bench_list(fit).c_str(), stdout);
  }
  return report::all_clear(fit) ? kDone : kNeedsWork;
}

}  // namespace

void add_inspect_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<InspectArguments>();
  CLI::App* command =
      app.add_subcommand("inspect", "Photos of the form to seams, work order and pour plan, in one go");
  add_measuring_options(*command, *arguments);
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the plan's)")
      ->check(number_between(0.05, 50.0));
  add_making_options(*command, arguments->making);
  add_rework_options(*command, arguments->rework);
  command->add_option("--resin", arguments->resin,
                      "Resin as its data sheet gives it, for masses, times and steps");
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_inspect(*arguments); }; });
}

}  // namespace interstice::app
