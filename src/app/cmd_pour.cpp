#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "app/commands.h"
#include "app/making.h"
#include "app/number_between.h"
#include "app/result_input.h"
#include "core/errors.h"
#include "core/output_file.h"
#include "pour/plan_pours.h"

namespace interstice::app {
namespace {

struct PourArguments {
  CommonOptions common;
  std::string fit, plan, resin, out;
  std::optional<double> smallest_fill_mm;
  MakingArguments making;
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
  const std::string fit_file = fit_in(arguments.fit), plan_file = plan_for(arguments.plan, arguments.fit);
  const plan::Plan plan = plan_made(plan::read_plan(plan_file), arguments.making);
  const seams::FitDocument fit = seams::read_fit(fit_file);
  std::optional<pour::Resin> resin;
  if (!arguments.resin.empty()) resin = pour::read_resin(arguments.resin);
  core::OutputFile out(arguments.out, core::FileKind::json("interstice-pour"),
                       {fit_file, plan_file, arguments.resin});
  pour::PourOptions options;
  options.smallest_fill_mm = arguments.smallest_fill_mm;
  options.threads = arguments.common.threads;
  for (const std::string& text : arguments.openings) options.openings.push_back(parse_opening(text));
  progress.step("seams, channels, air and tilts");
  const pour::PourDocument document = [&] {
    try {
      return pour::plan_pours(fit, plan, resin, options);
    } catch (const core::InputError& e) {
      throw core::InputError(fit_file, e.what());
    }
  }();
  const std::string json = pour::write_pour(document);
  out.write(json);
  if (arguments.common.json) {
    print_json_document(json);
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
  command->add_option("fit", arguments->fit, "fit.json of the shell, or a folder of results")->required();
  command->add_option("--plan", arguments->plan,
                      "The plan it was measured against (default: plan.json there)");
  command->add_option("--resin", arguments->resin,
                      "Resin as its data sheet gives it, for masses, times and steps");
  command
      ->add_option("--smallest-fill", arguments->smallest_fill_mm,
                   "Narrowest seam that fills, mm (default: the fit's)")
      ->check(number_between(0.05, 50.0));
  add_back_option(*command, arguments->making);
  command->add_option("--opening", arguments->openings,
                      "A place U,V on the map (mm) that will be left open; may be repeated");
  command->add_option("--out", arguments->out, "File to write, such as pour.json")->required();
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_pour(*arguments); }; });
}

}  // namespace interstice::app
