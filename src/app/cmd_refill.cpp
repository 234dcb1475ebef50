#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "app/measuring.h"
#include "app/number_between.h"
#include "app/photo_memory.h"
#include "channels/shell_solids.h"
#include "core/errors.h"
#include "core/file_kind.h"
#include "core/files.h"
#include "refill/refill.h"
#include "refill/refill_words.h"
#include "refill/shell_turn.h"
#include "report/refill_marks.h"
#include "report/refill_page.h"
#include "scan/scan_document.h"
#include "surface/surface_document.h"

namespace interstice::app {
namespace {

namespace fs = std::filesystem;

struct RefillArguments : MeasuringArguments {
  std::string after, resin;
};

// Before minutes of work: whether both are of one shell.
void refuse_other_plan(const seams::FitDocument& dry, const plan::Plan& plan, const fs::path& fit_file) {
  try {
    channels::solids_of(dry, plan);
  } catch (const core::InputError& e) {
    throw core::InputError(fit_file.string(), e.what());
  }
}

// The scan of before the pour, for its pictures; without it the page does without them.
std::optional<scan::Scan> dry_photos(const fs::path& dry_scan) {
  try {
    return scan::read_scan(dry_scan,
                           {.folder = {}, .remembered = remembered_photos(dry_scan), .may_be_gone = true});
  } catch (const core::InputError&) {
    return std::nullopt;
  }
}

// Photos with their hollows ringed, and the page.
void write_for_the_bench(const refill::RefillResult& result, const seams::FitDocument& dry,
                         const fs::path& dry_scan, int threads, const fs::path& out) {
  const std::vector<report::MarkedPhoto> marked =
      report::mark_hollows(result.scan, dry, result.document, kMarkedPx, threads);
  write_marked_photos(marked, out / "marked");
  const std::optional<scan::Scan> before = dry_photos(dry_scan);
  const report::RefillPageInput page{result.document, dry,     result.scan,
                                     marked,          threads, before ? &*before : nullptr};
  core::write_new_file(out / "report.html", core::FileKind::page().sealed(report::refill_page(page)));
}

int run_refill(const RefillArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const fs::path before = arguments.after;
  refill::RefillOptions options;
  if (!arguments.resin.empty()) options.resin = pour::read_resin(arguments.resin);
  for (const char* name : {"fit.json", "plan.json"}) {
    if (!fs::exists(before / name))
      throw core::InputError(before.string(), std::string("holds no ") + name +
                                                  "; --after takes the folder inspect wrote before the pour");
  }
  const plan::Plan plan = plan::read_plan(before / "plan.json");
  const seams::FitDocument dry = seams::read_fit(before / "fit.json");
  refuse_other_plan(dry, plan, before / "fit.json");
  core::ResultOf about = result_of(arguments, "refill", plan);
  about.inputs.add(arguments.resin);
  about.inputs.add(before);
  core::ResultFolder folder(arguments.out, std::move(about));
  const refill::DryShell shell{dry, surface::find_ortho(before / "scan")};
  const MeasuredScan measured = measure_scan(arguments, plan, progress, [&](const scan::Scan& scan) {
    progress.step("finding how the shell is turned");
    return refill::find_shell_turn(scan, shell, plan, arguments.common.threads);
  });
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  const refill::RefillResult result = refill::look_after_pour(measured.scan, dry, plan, options);
  progress.step("writing the results");
  const fs::path& out = folder.work();
  fs::create_directory(out / "scan");
  write_scan_folder({plan, result.scan, measured.surface}, out / "scan");
  const std::string json = refill::write_refill(result.document);
  core::write_new_file(out / "refill.json", json);
  core::write_new_file(out / "fit.json", seams::write_fit(dry));  // the pieces, as before the pour
  core::write_new_file(out / "plan.json", plan::write_plan(plan));
  write_for_the_bench(result, dry, before / "scan", arguments.common.threads, out);
  folder.commit();
  if (arguments.common.json) {
    print_json_document(json);
  } else if (!arguments.common.quiet) {
    std::fputs(refill::refill_list(result.document).c_str(), stdout);
  }
  return refill::nothing_left(result.document) ? kDone : kNeedsWork;
}

}  // namespace

void add_refill_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<RefillArguments>();
  CLI::App* command = app.add_subcommand("refill", "After a pour: what stayed hollow, and how to fill it");
  command->add_option("photos", arguments->photos, "Folder with photos of the shell after the pour")
      ->required();
  command->add_option("--after", arguments->after, "Folder that inspect wrote before the pour")->required();
  add_lens_options(*command, *arguments);
  command->add_option("--resin", arguments->resin, "Resin as its data sheet gives it, for masses and times");
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_refill(*arguments); }; });
}

}  // namespace interstice::app
