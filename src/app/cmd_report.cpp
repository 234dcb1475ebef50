#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <map>
#include <memory>

#include "app/commands.h"
#include "app/one_of.h"
#include "app/photo_memory.h"
#include "core/counted.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/output_file.h"
#include "report/bench_list.h"
#include "report/page.h"
#include "report/print_pdf.h"
#include "scan/scan_document.h"
#include "surface/surface_document.h"

namespace interstice::app {
namespace {

namespace fs = std::filesystem;

struct ReportArguments {
  CommonOptions common;
  std::string result, plan, photos, pdf, out;
  report::PagePaper paper = report::PagePaper::any;
  std::vector<std::string> before;
};

plan::Plan read_plan_of(const ReportArguments& arguments) {
  if (!arguments.plan.empty()) return plan::read_plan(arguments.plan);
  const fs::path beside = fs::path(arguments.result) / "plan.json";
  if (!fs::exists(beside)) throw core::InputError(beside.string(), "not there; name the plan with --plan");
  return plan::read_plan(beside);
}

void check_same_piece(const seams::FitDocument& fit, const plan::Plan& plan, const std::string& file) {
  for (const seams::FitTile& tile : fit.tiles) {
    const bool planned = std::any_of(plan.tiles.begin(), plan.tiles.end(),
                                     [&](const plan::PlannedTile& t) { return t.label == tile.label; });
    if (!planned)
      throw core::InputError(file, "the plan has no piece " + core::one_line(tile.label, 60) +
                                       " that the result has; give the plan it was measured against");
  }
}

report::EarlierScan read_earlier(const std::string& folder, const seams::FitDocument& fit) {
  const fs::path clean = fs::path(folder + "/").lexically_normal().parent_path();
  report::EarlierScan earlier{clean.filename().string(), seams::read_fit(clean / "fit.json")};
  const bool shared =
      std::any_of(earlier.fit.tiles.begin(), earlier.fit.tiles.end(), [&](const seams::FitTile& t) {
        return std::any_of(fit.tiles.begin(), fit.tiles.end(),
                           [&](const seams::FitTile& now) { return now.label == t.label; });
      });
  if (!shared)
    throw core::InputError(
        (clean / "fit.json").string(),
        "has no piece in common with this result; --before takes earlier scans of the same piece");
  return earlier;
}

// Names of the photos that are not where the scan had them, nor in the folder given.
std::vector<std::string> photos_gone(const scan::Scan& scan) {
  std::vector<std::string> gone;
  for (const scan::ScannedPhoto& photo : scan.photos) {
    if (photo.info.path.empty()) gone.push_back(photo.info.name);
  }
  return gone;
}

void warn_of_gone(const std::vector<std::string>& gone, std::size_t photos, bool folder_given) {
  if (gone.empty()) return;
  std::string names;
  for (std::size_t i = 0; i < std::min<std::size_t>(gone.size(), 5); ++i)
    names += (i > 0 ? ", " : "") + core::one_line(gone[i], 60);
  if (gone.size() > 5) names += " and " + std::to_string(gone.size() - 5) + " more";
  std::fprintf(stderr, "%zu of %s not found and not shown (%s); %s\n", gone.size(),
               core::counted(photos, "photo is", "photos are").c_str(), names.c_str(),
               folder_given ? "they are not in the folder of --photos either"
                            : "name the folder they are in now with --photos");
}

// The page itself may stand in the folder of results, in place of the one inspect made.
core::Inputs inputs_of(const ReportArguments& arguments) {
  const fs::path result = arguments.result;
  core::Inputs inputs{result / "fit.json", result / "plan.json", result / "pour.json",
                      result / "scan",     arguments.plan,       arguments.photos};
  for (const std::string& folder : arguments.before) inputs.add(fs::path(folder) / "fit.json");
  return inputs;
}

int run_report(const ReportArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const fs::path result = arguments.result;
  const core::Inputs inputs = inputs_of(arguments);
  core::OutputFile out(arguments.out, core::FileKind::page(), inputs);
  std::optional<core::OutputFile> pdf;
  if (!arguments.pdf.empty()) pdf.emplace(arguments.pdf, core::FileKind::pdf(), inputs);
  report::PageInput input;
  input.fit = seams::read_fit(result / "fit.json");
  input.plan = read_plan_of(arguments);
  check_same_piece(input.fit, input.plan,
                   arguments.plan.empty() ? (result / "plan.json").string() : arguments.plan);
  for (const std::string& folder : arguments.before) input.earlier.push_back(read_earlier(folder, input.fit));
  const fs::path pour = result / "pour.json";
  if (fs::exists(pour)) input.pour = report::parse_pour_sheet(core::read_file(pour), pour.string());
  progress.step("reading the scan");
  if (!arguments.photos.empty() && !fs::is_directory(arguments.photos))
    throw core::InputError(arguments.photos, "is no folder; --photos takes the folder the photos are in now");
  input.scan = scan::read_scan(
      result / "scan",
      {.folder = arguments.photos, .remembered = remembered_photos(result / "scan"), .may_be_gone = true});
  const std::vector<std::string> gone = photos_gone(input.scan);
  warn_of_gone(gone, input.scan.photos.size(), !arguments.photos.empty());
  const surface::Surface surface = surface::read_surface(result / "scan");
  input.heights = surface.heights;
  input.ortho_grid = surface.ortho_grid;
  input.ortho = surface::read_ortho(result / "scan", surface.ortho_grid);
  input.paper = arguments.paper;
  if (input.paper == report::PagePaper::any && !arguments.pdf.empty()) input.paper = report::PagePaper::a4;
  input.threads = arguments.common.threads;
  progress.step("making the page");
  const std::string page = report::report_page(input);
  if (pdf) {
    progress.step("printing");
    pdf->write(report::print_pdf(page));
  }
  out.write(page);
  if (arguments.common.json) {
    std::printf("{\"bytes\":%zu,\"seams_needing_work\":%zu,\"photos_missing\":%zu}\n", page.size(),
                report::seams_needing_work(input.fit).size(), gone.size());
  }
  return kDone;
}

}  // namespace

void add_report_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<ReportArguments>();
  CLI::App* command = app.add_subcommand("report", "A page to take to the bench, from what inspect wrote");
  command->add_option("result", arguments->result, "Folder that inspect wrote")->required();
  command->add_option("--plan", arguments->plan,
                      "The plan it was measured against (default: plan.json in that folder)");
  command->add_option("--photos", arguments->photos, "Folder the photos are in now, if they have moved");
  command->add_option("--before", arguments->before,
                      "Earlier results of the same piece, oldest first, to show what changed");
  const std::map<std::string, report::PagePaper> papers{{"a4", report::PagePaper::a4},
                                                        {"letter", report::PagePaper::letter}};
  command->add_option("--paper", arguments->paper, "Paper to print on (default: the printer's)")
      ->transform(one_of(papers));
  command->add_option("--pdf", arguments->pdf, "Print the page to this PDF as well (needs chromium)");
  command->add_option("--out", arguments->out, "File to write, such as report.html")->required();
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_report(*arguments); }; });
}

}  // namespace interstice::app
