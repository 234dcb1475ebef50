#include "app/making.h"

#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>

#include "app/one_of.h"
#include "core/errors.h"

namespace interstice::app {

void add_back_option(CLI::App& command, MakingArguments& arguments) {
  const std::map<std::string, plan::Back> backs{
      {"flat", plan::Back::flat}, {"fitted", plan::Back::fitted}, {"hollowed", plan::Back::hollowed}};
  command
      .add_option("--back", arguments.back,
                  "Backs of the pieces: flat as sawn, fitted to the form, or hollowed (default: the plan's)")
      ->transform(one_of(backs));
}

void add_making_options(CLI::App& command, MakingArguments& arguments) {
  add_back_option(command, arguments);
  command.add_option("--finished-wall", arguments.finished_wall,
                     "What turning leaves, mm below the face, as FROM,TO (default: the plan's, else all)");
}

plan::Plan plan_made(plan::Plan plan, const MakingArguments& arguments) {
  if (arguments.back) plan.back = *arguments.back;
  if (arguments.finished_wall.empty()) return plan;
  const std::string where = "--finished-wall \"" + core::one_line(arguments.finished_wall, 60) + "\"";
  plan::FinishedWall wall;
  char rest = 0;
  if (std::sscanf(arguments.finished_wall.c_str(), "%lf,%lf%c", &wall.from_mm, &wall.to_mm, &rest) != 2)
    throw core::InputError(where + ": give two depths below the face in mm, such as 2,12");
  if (const auto fault = plan::fault_of(wall, plan.tile_thickness_mm))
    throw core::InputError(where + ": " + *fault);
  plan.finished_wall = wall;
  return plan;
}

}  // namespace interstice::app
