#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "app/measuring.h"
#include "scan/scan_document.h"
#include "surface/cloud.h"

namespace interstice::app {
namespace {

int run_scan(const MeasuringArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress, scan_stages());
  const plan::Plan plan = plan::read_plan(arguments.plan);
  core::ResultFolder folder(arguments.out, result_of(arguments, "scan", plan));
  const MeasuredScan measured = measure_scan(arguments, plan, progress);
  progress.step("writing the scan");
  write_scan_folder(measured, folder.work());
  surface::write_cloud(measured.surface, measured.plan, folder.work() / "cloud.ply");
  folder.commit();
  if (arguments.common.json) {
    print_json_document(scan::write_cameras(measured.scan));
  } else if (!arguments.common.quiet) {
    const scan::ScanQuality& q = measured.scan.quality;
    std::printf("%zu of %d photos used, corners fit to %.2f px, %zu tie points, %.2f mm a pixel\n",
                measured.scan.photos.size(), q.photos_given, q.reprojection_rms_px, q.tie_points,
                q.pixel_footprint_mm);
    if (!q.lens_note.empty()) std::printf("%s\n", q.lens_note.c_str());
    if (!q.pixels_note.empty()) std::printf("%s\n", q.pixels_note.c_str());
    for (const scan::LeftOut& left : measured.scan.left_out) {
      std::printf("left out: %s: %s\n", left.photo.c_str(), left.reason.c_str());
    }
    std::printf("written: %s\n", arguments.out.c_str());
  }
  return kDone;
}

}  // namespace

void add_scan_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<MeasuringArguments>();
  CLI::App* command =
      app.add_subcommand("scan", "Photos to camera positions, the form's seat and its surface");
  add_measuring_options(*command, *arguments);
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_scan(*arguments); }; });
}

}  // namespace interstice::app
