#include <CLI/CLI.hpp>
#include <filesystem>
#include <memory>

#include "app/command_texts.h"
#include "app/commands.h"
#include "core/errors.h"
#include "core/files.h"

namespace interstice::app {
namespace {

namespace fs = std::filesystem;

int run_texts(const CLI::App& app, const fs::path& folder) {
  std::error_code ec;
  fs::create_directories(folder, ec);
  if (ec) throw core::InputError(folder.string(), "cannot be made: " + ec.message());
  core::write_new_file(folder / "help.md", help_page(app));
  for (const auto& [name, page] : manual_pages(app)) core::write_new_file(folder / name, page);
  core::write_new_file(folder / "interstice.bash", bash_completion(app));
  core::write_new_file(folder / "_interstice", zsh_completion(app));
  core::write_new_file(folder / "interstice.fish", fish_completion(app));
  return kDone;
}

}  // namespace

void add_texts_command(CLI::App& app, Chosen& chosen) {
  const auto folder = std::make_shared<std::string>();
  CLI::App* command =
      app.add_subcommand("texts", "Page of help, manual pages and completions, into a new folder");
  command->group("");  // for installing, not for the bench
  command->add_option("folder", *folder, "New folder for them")->required();
  command->callback(
      [folder, &app, &chosen] { chosen.run = [folder, &app] { return run_texts(app, *folder); }; });
}

}  // namespace interstice::app
