// How the least work is looked for, as the commands that propose it are told: what cannot be moved, what must not be
// touched, what is liked better.
#pragma once

#include <string>
#include <vector>

#include "rework/corrections.h"

namespace CLI {
class App;
}

namespace interstice::app {

struct ReworkArguments {
  rework::CorrectionOptions::Prefer prefer = rework::CorrectionOptions::Prefer::least;
  bool glued = false, no_ease = false;
  std::vector<std::string> locked;
};

void add_rework_options(CLI::App& command, ReworkArguments& arguments);
// Throws InputError for a label the plan does not have.
void check_locked(const ReworkArguments& arguments, const plan::Plan& plan);
rework::CorrectionOptions correction_options(const ReworkArguments& arguments, int threads);

}  // namespace interstice::app
