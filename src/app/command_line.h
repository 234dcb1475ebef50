// The command line as people type it, before it is parsed: slips are answered with what was probably meant.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace interstice::app {

// The words after the program's name, with decimal commas in numbers made points. Throws InputError, one line,
// for a command or an option that there is not, and for a check line given in centimetres.
std::vector<std::string> understood(const CLI::App& app, std::vector<std::string> words);

// Help of a command: what it does, how it is called, its options with units and defaults, those of every command
// last. At most 100 columns.
std::string help_text(const CLI::App& command, const std::string& name);

}  // namespace interstice::app
