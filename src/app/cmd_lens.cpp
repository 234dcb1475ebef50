#include <CLI/CLI.hpp>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "app/commands.h"
#include "app/number_between.h"
#include "camera/cards.h"
#include "camera/lens_photos.h"
#include "core/output_file.h"

namespace interstice::app {
namespace {

struct LensArguments {
  CommonOptions common;
  std::vector<std::string> photos;
  std::optional<double> check_line_mm;
  std::string out;
};

nlohmann::ordered_json as_json(const camera::LensPhotos& result) {
  nlohmann::ordered_json doc = nlohmann::ordered_json::parse(camera::write_lens(result.calibration.lens));
  doc["photos_given"] = result.photos_given;
  doc["corners_given"] = result.corners_given;
  doc["corners_used"] = result.calibration.corners_used;
  doc["nearest_mm"] = result.nearest_mm;
  doc["farthest_mm"] = result.farthest_mm;
  doc["steepest_tilt_deg"] = result.steepest_tilt_deg;
  doc["left_out"] = nlohmann::ordered_json::array();
  for (const auto& photo : result.left_out)
    doc["left_out"].push_back({{"photo", photo.photo}, {"reason", photo.reason}});
  return doc;
}

void print_parameters(const camera::Lens& lens) {
  const camera::LensVector p = lens.parameters(), sd = lens.sd;
  std::printf("\n        value      standard deviation\n");
  for (int i = 0; i < camera::kLensParameters; ++i) {
    const bool pixels = i < 4;
    std::printf(pixels ? "  %s  %10.2f  %8.2f px\n" : "  %s  %10.5f  %8.5f\n", camera::kLensParameterNames[i],
                p[i], sd[i]);
  }
}

void print_report(const camera::LensPhotos& result, const LensArguments& arguments) {
  const camera::Calibration& c = result.calibration;
  const camera::Lens& lens = c.lens;
  std::printf("Lens of %s, %d x %d pixels\n", lens.camera.empty() ? "an unnamed camera" : lens.camera.c_str(),
              lens.width, lens.height);
  std::printf("%d of %d photos used, %d of %d corners; RMS %.3f px; %.0f %% of the frame covered\n",
              lens.photos_used, result.photos_given, c.corners_used, result.corners_given, lens.rms_px,
              100 * lens.coverage);
  std::printf("Card %.0f to %.0f mm away%s, tilted up to %.0f degrees\n", result.nearest_mm,
              result.farthest_mm, arguments.check_line_mm ? "" : " (print taken at 100 %)",
              result.steepest_tilt_deg);
  print_parameters(lens);
  std::printf("\n");
  for (const auto& photo : result.left_out)
    std::printf("left out: %s: %s\n", photo.photo.c_str(), photo.reason.c_str());
  if (c.held_at_zero > 0) {
    std::printf("note: %s held at 0, the photos cannot tell; bring the card into the corners of the frame\n",
                c.held_at_zero == 1 ? "k3 is" : "k2 and k3 are");
  } else if (c.corner_sd_px > 1) {
    std::printf(
        "note: distortion in the frame's corners is unsure by %.1f px; photos with the card there would "
        "help\n",
        c.corner_sd_px);
  }
  std::printf("written: %s\n", arguments.out.c_str());
}

camera::LensPhotos measure(const LensArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const std::vector<std::filesystem::path> given(arguments.photos.begin(), arguments.photos.end());
  const double print_scale = arguments.check_line_mm.value_or(camera::kCheckLineMm) / camera::kCheckLineMm;
  return camera::calibrate_from_photos(camera::expand_photos(given), print_scale, arguments.common.threads,
                                       [&](const std::string& what) { progress.step(what); });
}

int run_lens(const LensArguments& arguments) {
  core::Inputs inputs;
  for (const std::string& photo : arguments.photos) inputs.add(photo);
  core::OutputFile out(arguments.out, core::FileKind::json("interstice-lens"), std::move(inputs));
  const camera::LensPhotos result = measure(arguments);
  out.write(camera::write_lens(result.calibration.lens));
  if (arguments.common.json) {
    std::printf(
        "%s\n",
        as_json(result).dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
  } else if (!arguments.common.quiet) {
    print_report(result, arguments);
  }
  return kDone;
}

}  // namespace

void add_lens_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<LensArguments>();
  CLI::App* command = app.add_subcommand("lens", "Find a phone's lens from photos of a printed card");
  command->add_option("photos", arguments->photos, "Photos of a card, or folders of them")->required();
  command
      ->add_option("--check-line", arguments->check_line_mm,
                   "Measured length of the card's printed 150 mm line, in mm (for the distances shown only)")
      ->check(number_between(75.0, 300.0));
  command->add_option("--out", arguments->out, "Lens file to write, such as W1.lens.json")->required();
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_lens(*arguments); }; });
}

}  // namespace interstice::app
