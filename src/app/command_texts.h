// Texts about the commands made from the commands themselves: the page of help, manual pages, completion for shells.
#pragma once

#include <map>
#include <string>

namespace CLI {
class App;
}

namespace interstice::app {

// Help of all commands as one page in Markdown.
std::string help_page(const CLI::App& app);

// Manual pages (roff, section 1) by file name: interstice.1 and one a command, interstice-plan.1.
std::map<std::string, std::string> manual_pages(const CLI::App& app);

std::string bash_completion(const CLI::App& app);
std::string zsh_completion(const CLI::App& app);
std::string fish_completion(const CLI::App& app);

}  // namespace interstice::app
