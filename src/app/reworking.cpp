#include "app/reworking.h"

#include <CLI/CLI.hpp>
#include <map>

#include "app/one_of.h"
#include "core/errors.h"

namespace interstice::app {

void add_rework_options(CLI::App& command, ReworkArguments& arguments) {
  using Prefer = rework::CorrectionOptions::Prefer;
  const std::map<std::string, Prefer> preferences{
      {"least", Prefer::least}, {"sand", Prefer::sand}, {"move", Prefer::move}};
  command.add_option("--prefer", arguments.prefer, "Rather sand or rather move pieces")
      ->transform(one_of(preferences));
  command.add_flag("--glued", arguments.glued, "Pieces cannot be moved any more");
  command.add_flag(
      "--no-ease", arguments.no_ease,
      "Keep every wall's bevel: what is pinched behind the mouth is opened by moving and sanding alone");
  command.add_option("--lock", arguments.locked, "Label of a piece that must stay as it is; may be repeated");
}

void check_locked(const ReworkArguments& arguments, const plan::Plan& plan) {
  for (const std::string& label : arguments.locked) {
    bool known = false;
    for (const plan::PlannedTile& tile : plan.tiles) known = known || tile.label == label;
    if (!known)
      throw core::InputError("--lock \"" + core::one_line(label, 40) + "\": the plan has no such piece");
  }
}

rework::CorrectionOptions correction_options(const ReworkArguments& arguments, int threads) {
  rework::CorrectionOptions options;
  options.glued = arguments.glued;
  options.ease = !arguments.no_ease;
  options.locked = arguments.locked;
  options.threads = threads;
  options.prefer = arguments.prefer;
  return options;
}

}  // namespace interstice::app
