// Scene options by name, for command lines: "camera.noise=3".
#pragma once

#include <string>
#include <vector>

#include "renderer/options.h"

namespace interstice::renderer {

// Sets one option from "name=value". Throws InputError for unknown names and values that are not numbers.
// Lists (look.woods, cards.cards) take comma-separated values.
void set_option(SceneOptions& options, const std::string& setting);

std::vector<std::string> option_names();

}  // namespace interstice::renderer
