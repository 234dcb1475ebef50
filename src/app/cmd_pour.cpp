#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "app/commands.h"
#include "app/number_between.h"
#include "core/errors.h"
#include "core/output_file.h"
#include "pour/plan_pours.h"

namespace interstice::app {
namespace {

struct PourArguments {
  CommonOptions common;
  std::string fit, plan, resin, out;
  std::optional<double> smallest_fill_mm;
  std::vector<std::string> openings;
};

Eigen::Vector2d parse_opening(const std::string& text) {
  double u = 0, v = 0;
  char rest = 0;
  if (std::sscanf(text.c_str(), "%lf,%lf%c", &u, &v, &rest) != 2 || !(std::abs(u) < 1e4) ||
      !(std::abs(v) < 1e4)) {
    throw core::InputError("--opening \"" + core::one_line(text, 60) +
                           "\": give a place on the map in mm, such as 40.5,-12");
  }
  return {u, v};
}

int run_pour(const PourArguments& arguments) {
  Progress progress(arguments.common.quiet, arguments.common.progress);
  const plan::Plan plan = plan::read_plan(arguments.plan);
  const seams::FitDocument fit = seams::read_fit(arguments.fit);
  std::optional<pour::Resin> resin;
  if (!arguments.resin.empty()) resin = pour::read_resin(arguments.resin);
  core::OutputFile out(arguments.out, core::FileKind::json("interstice-pour"),
                       {arguments.fit, arguments.plan, arguments.resin});
  pour::PourOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm;
  options.threads = arguments.common.threads;
  for (const std::string& text : arguments.openings) options.openings.push_back(parse_opening(text));
  progress.step("seams, channels, air and tilts");
  const pour::PourDocument document = [&] {
    try {
      return pour::plan_pours(fit, plan, resin, options);
    } catch (const core::InputError& e) {
      throw core::InputError(arguments.fit, e.what());
    }
  }();
  const std::string json = pour::write_pour(document);
  out.write(json);
  if (arguments.common.json) {
    std::fputs(json.c_str(), stdout);
  } else if (!arguments.common.quiet) {
    std::fputs(pour::pour_words(document).c_str(), stdout);
  }
  return document.ready ? kDone : kNeedsWork;
}

}  // namespace

void add_pour_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<PourArguments>();
  CLI::App* command =
      app.add_subcommand("pour", "Ready to pour? What resin reaches, how much to mix, how to tilt");
  command->add_option("fit", arguments->fit, "fit.json of the shell")->required();
  command->add_option("--plan", arguments->plan, "The plan it was measured against")->required();
  command->add_option("--resin", arguments->resin,
                      "Resin as its data sheet gives it, for masses, times and steps");
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the fit's)")
      ->check(number_between(0.05, 50.0));
  command->add_option("--opening", arguments->openings,
                      "A place U,V on the map (mm) that will be left open; may be repeated");
  command->add_option("--out", arguments->out, "File to write, such as pour.json")->required();
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_pour(*arguments); }; });
}

}  // namespace interstice::app
