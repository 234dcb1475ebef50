// The command `bench`.
#pragma once

#include "app/commands.h"

namespace interstice::app {

void add_bench_command(CLI::App& app, Chosen& chosen);

}  // namespace interstice::app
