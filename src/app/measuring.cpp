#include "app/measuring.h"

#include <fmt/core.h>

#include <CLI/CLI.hpp>

#include "app/number_between.h"
#include "app/photo_memory.h"
#include "core/errors.h"
#include "core/files.h"
#include "scan/kept_scan.h"
#include "scan/scan_document.h"
#include "surface/surface_document.h"

namespace interstice::app {

void add_measuring_options(CLI::App& command, MeasuringArguments& arguments) {
  command.add_option("photos", arguments.photos, "Folder with the photos of the form")->required();
  command.add_option("--plan", arguments.plan, "The plan of the pieces, plan.json")->required();
  add_lens_options(command, arguments);
}

void add_lens_options(CLI::App& command, MeasuringArguments& arguments) {
  command.add_option("--lens", arguments.lens,
                     "Lens file of the phone (without one the scan calibrates itself)");
  command
      .add_option(
          "--check-line", arguments.check_line_mm,
          "Length of the cards' check line as measured with calipers, mm (150 if the print is at 100 %)")
      ->check(number_between(100.0, 200.0));
  command.add_option(
      "--kept", arguments.kept,
      "Folder where what each photo gives by itself is kept for the next run (made when missing)");
  add_result_options(command, arguments.out, arguments.replace);
}

core::ResultOf result_of(const MeasuringArguments& arguments, const std::string& command,
                         const plan::Plan& plan) {
  return {command, plan.name, arguments.replace, {arguments.photos, arguments.plan, arguments.lens}};
}

namespace {

// A folder of something else is not written into, even if nothing of it would be touched.
void refuse_other_things(const std::filesystem::path& kept) {
  std::error_code ec;
  if (!std::filesystem::exists(kept, ec)) return;
  if (!std::filesystem::is_directory(kept, ec)) throw core::InputError(kept.string(), "is no folder");
  for (const auto& entry : std::filesystem::directory_iterator(kept, ec)) {
    if (entry.path().extension() == core::KeptWork::kEnding || entry.path().filename().string()[0] == '.')
      continue;
    throw core::InputError(kept.string(), "holds other things (" +
                                              core::one_line(entry.path().filename().string(), 60) +
                                              "); name a new or empty folder for --kept");
  }
}

}  // namespace

MeasuredScan measure_scan(const MeasuringArguments& arguments, const plan::Plan& plan, Progress& progress,
                          const FindTurn& find_turn) {
  MeasuredScan measured;
  measured.plan = plan;
  scan::ScanOptions options;
  options.check_line_mm = arguments.check_line_mm;
  if (!arguments.lens.empty()) options.lens = camera::read_lens(arguments.lens);
  std::optional<core::KeptWork> kept;
  if (!arguments.kept.empty()) {
    refuse_other_things(arguments.kept);
    kept.emplace(arguments.kept, core::this_program());
  }
  options.threads = arguments.common.threads;
  options.progress = [&](const std::string& what) { progress.step(what); };
  scan::Scan scan =
      scan::scan_photos_keeping(arguments.photos, measured.plan, options, kept ? &*kept : nullptr);
  surface::SurfaceOptions surface;
  surface.threads = arguments.common.threads;
  surface.progress = options.progress;
  if (find_turn) surface.turn = find_turn(scan);
  surface::AlignedScan aligned = surface::align_to_plan(std::move(scan), measured.plan, surface);
  measured.scan = std::move(aligned.scan);
  measured.surface = std::move(aligned.surface);
  return measured;
}

void write_scan_folder(const MeasuredScan& measured, const std::filesystem::path& folder) {
  core::write_new_file(folder / "cameras.json", scan::write_cameras(measured.scan));
  core::write_new_file(folder / "scan.json", scan::write_scan(measured.scan));
  surface::write_surface(measured.surface, folder);
  if (!measured.scan.photos.empty())
    remember_photos(folder, measured.scan.photos[geometry::PhotoIndex(0)].info.path.parent_path());
}

void write_marked_photos(const std::vector<report::MarkedPhoto>& marked,
                         const std::filesystem::path& folder) {
  if (marked.empty()) return;
  std::filesystem::create_directory(folder);
  for (std::size_t k = 0; k < marked.size(); ++k) {
    try {
      core::write_new_file(folder / (marked[k].photo + ".jpg"), marked[k].jpeg);
    } catch (const core::InputError&) {
      // A name that this disk refuses (a colon, on a memory stick) must not cost the result.
      core::write_new_file(folder / ("marked-" + std::to_string(k + 1) + ".jpg"), marked[k].jpeg);
    }
  }
}

std::string measurement_notes(const seams::FitDocument& fit) {
  const seams::FitQuality& q = fit.quality;
  std::string out = fmt::format("measured from {} of {} photos, {:.2f} mm a pixel\n", q.photos_used,
                                q.photos_given, q.pixel_footprint_mm);
  for (const auto& left : q.left_out)
    out += "left out: " + core::one_line(left.photo, 80) + ": " + left.reason + "\n";
  if (!q.check_line_given) {
    out +=
        "the cards' prints are taken at 100 %: measure a check line and give --check-line for sure widths\n";
  }
  if (q.length_error_mm) {
    out += fmt::format("length check on cards not used for scale: largest error {:+.2f} mm\n",
                       *q.length_error_mm);
  }
  return out;
}

}  // namespace interstice::app
