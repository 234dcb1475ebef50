// What becomes of the pieces, said on the command line instead of in the plan: how their backs meet the form and
// what turning leaves.
#pragma once

#include <optional>
#include <string>

#include "plan/plan.h"

namespace CLI {
class App;
}

namespace interstice::app {

struct MakingArguments {
  std::optional<plan::Back> back;
  std::string finished_wall;  // "2,12"; empty: the plan's
};

void add_back_option(CLI::App& command, MakingArguments& arguments);
void add_making_options(CLI::App& command, MakingArguments& arguments);  // the back and the finished wall

// The plan with what was said in its place. Throws InputError for a wall that the stock does not hold.
plan::Plan plan_made(plan::Plan plan, const MakingArguments& arguments);

}  // namespace interstice::app
