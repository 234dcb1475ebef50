#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>

#include "app/commands.h"
#include "app/one_of.h"
#include "camera/cards.h"
#include "core/counted.h"
#include "core/output_file.h"
#include "sheets/card_sheet.h"

namespace interstice::app {
namespace {

struct CardsArguments {
  CommonOptions common;
  sheets::Paper paper = sheets::Paper::a4;
  int count = 6;
  std::string out;
};

int run_cards(const CardsArguments& arguments) {
  core::OutputFile(arguments.out, core::FileKind::pdf())
      .write(sheets::cards_pdf(arguments.paper, arguments.count));
  const int pages = sheets::sheet_place(arguments.paper, arguments.count).page + 1;
  if (arguments.common.json) {
    const nlohmann::ordered_json doc = {
        {"written", arguments.out}, {"cards", arguments.count}, {"pages", pages}};
    std::printf("%s\n", doc.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
  } else if (!arguments.common.quiet) {
    std::printf("written: %s (%s on %s)\n", arguments.out.c_str(),
                core::counted(arguments.count, "card").c_str(), core::counted(pages, "page").c_str());
    std::printf(
        "Print at 100 %% (actual size), then measure a check line with calipers: 150 mm if the printer is "
        "true.\n");
  }
  return kDone;
}

}  // namespace

void add_cards_command(CLI::App& app, Chosen& chosen) {
  auto arguments = std::make_shared<CardsArguments>();
  CLI::App* command = app.add_subcommand("cards", "Printable scale cards, 1:1");
  command->add_option("--out", arguments->out, "PDF to write, such as cards.pdf")->required();
  const std::map<std::string, sheets::Paper> papers{{"a4", sheets::Paper::a4},
                                                    {"letter", sheets::Paper::letter}};
  command->add_option("--paper", arguments->paper, "a4 (two cards a page) or letter (one)")
      ->transform(one_of(papers));
  command->add_option("--count", arguments->count, "How many cards, 1 to 12; six suit a form of 20 to 30 cm")
      ->check(CLI::Range(1, camera::kCards));
  add_common_options(*command, arguments->common);
  command->callback([arguments, &chosen] { chosen.run = [arguments] { return run_cards(*arguments); }; });
}

}  // namespace interstice::app
