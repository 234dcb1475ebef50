#include <CLI/CLI.hpp>
#include <cstdio>
#include <map>
#include <memory>

#include "app/commands.h"
#include "app/number_between.h"
#include "app/one_of.h"
#include "app/paper_work.h"
#include "app/plan_work.h"

// The command line of `plan`; the work itself is in plan_work.cpp.

namespace interstice::app {
namespace {

template <class Arguments>
CLI::App* sub_command(CLI::App& plan, Chosen& chosen, const char* name, const char* help,
                      int (*work)(const Arguments&), std::shared_ptr<Arguments> arguments) {
  CLI::App* command = plan.add_subcommand(name, help);
  add_common_options(*command, arguments->common);
  command->callback(
      [arguments, work, &chosen] { chosen.run = [arguments, work] { return work(*arguments); }; });
  return command;
}

const std::map<std::string, double>& units() {
  static const std::map<std::string, double> all{{"mm", 1.0}, {"cm", 10.0}, {"in", 25.4}};
  return all;
}

void add_reading(CLI::App* command, layout::ProfileReading& reading) {
  command
      ->add_option("--unit", reading.unit_mm, "Unit of a table or of a drawing that names none: mm, cm, in")
      ->transform(one_of(units()));
  command->add_flag("--diameters", reading.diameters, "The table's first column holds diameters, not radii");
}

void add_photo_reading(CLI::App* command, PhotoReading& photos) {
  command->add_option("--lens", photos.lens, "With photos: lens file of the camera");
  command
      ->add_option("--check-line", photos.check_line_mm,
                   "With photos: measured length of the cards' check line, mm (nominal 150)")
      ->check(number_between(75.0, 300.0));
}

void add_stock(CLI::App* command, double& thickness_mm, double& smallest_fill_mm, double& gap_mm,
               std::string& name) {
  command->add_option("--thickness", thickness_mm, "Thickness of the stock, mm");
  command->add_option("--smallest-fill", smallest_fill_mm, "Narrowest width that resin will fill, mm");
  command->add_option("--gap", gap_mm,
                      "Planned mouth between pieces, mm (default: smallest fill and an allowance)");
  command->add_option("--name", name, "Name of the plan");
}

void add_form(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanFormArguments>();
  CLI::App* c =
      sub_command(plan, chosen, "form",
                  "The form's own shape, measured from photos of it bare; or a drawing checked and kept",
                  run_plan_form, a);
  c->add_option(
       "FORM", a->form,
       "Folder of photos of the bare form, pencil lines all over it, cards round it; or a table or CSV "
       "(r, z), SVG, DXF, or JSON with a profile")
      ->required();
  c->add_option("--out", a->out, "Form file to write, such as form.json");
  c->add_option("--name", a->name, "Name of the form");
  add_photo_reading(c, a->photos);
  add_reading(c, a->reading);
}

void add_make(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanMakeArguments>();
  CLI::App* c =
      sub_command(plan, chosen, "make", "Make a layout of irregular pieces over a form", run_plan_make, a);
  c->add_option("FORM", a->form, "Form file, table, CSV, SVG or DXF; or folder of photos of the bare form")
      ->required();
  c->add_option("--form", a->drawn, "With photos: a form that they must fit");
  add_photo_reading(c, a->photos);
  c->add_option("--out", a->out, "Plan to write, such as plan.json")->required();
  add_stock(c, a->layout.tile_thickness_mm, a->layout.smallest_fill_mm, a->layout.gap_mm, a->layout.name);
  c->add_option(
      "--piece-size", a->piece_size_mm,
      "Side of a square of a piece's share of the form, mm (default: 40, or what sits on the form with flat "
      "backs)");
  c->add_option("--bevel", a->layout.bevel_deg, "Bevel of the walls, degrees (default: from the geometry)");
  c->add_option("--irregular", a->layout.irregularity, "0 even to 1 wild")->check(number_between(0.0, 1.0));
  c->add_option("--seed", a->layout.seed, "Another number gives another layout");
  CLI::Option* from = c->add_option("--gap-from", a->gap_from,
                                    "Archive folder: plan the gap that its measured seams ask for");
  from->excludes("--gap");
  c->add_option("--gap-share", a->gap_share_percent,
                "With --gap-from: seams to come out fillable, percent (default: 95)")
      ->check(number_between(51.0, 99.9))
      ->needs(from);
  c->add_option("--cut-spread", a->layout.spread.cut_mm,
                "Standard deviation of a cut edge, mm, for the gap's allowance");
  c->add_option("--glue-spread", a->layout.spread.glue_mm, "Standard deviation of a glued piece's place, mm");
  add_reading(c, a->reading);
}

void add_lines(CLI::App* command, layout::DrawnLines& drawn, const char* help) {
  static const std::map<std::string, layout::DrawnLines> lines{{"decide", layout::DrawnLines::decide},
                                                               {"shared", layout::DrawnLines::shared},
                                                               {"own", layout::DrawnLines::own}};
  command->add_option("--lines", drawn, help)->transform(one_of(lines));
}

void add_trace(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanTraceArguments>();
  CLI::App* c =
      sub_command(plan, chosen, "trace", "Trace the pieces drawn on a scanned form", run_plan_trace, a);
  c->add_option(
       "PHOTOS", a->photos,
       "Folder of photos of the form with cards round it; or its picture on the map (.png, scale in .json)")
      ->required();
  add_photo_reading(c, a->reading_photos);
  c->add_option("--form", a->form,
                "Form file, table, CSV, SVG or DXF that the photos must fit (left out: their own form)");
  c->add_option("--out", a->out, "Plan to write, such as plan.json")->required();
  add_stock(c, a->trace.tile_thickness_mm, a->trace.smallest_fill_mm, a->gap_mm, a->trace.name);
  c->add_option("--bevel", a->trace.bevel_deg,
                "Bevel of the walls, degrees (default: from the geometry for shared lines, else 10)");
  c->add_option("--labels", a->labels, "File of new labels, a line each: proposed, wanted");
  c->add_option(
      "--unrolled", a->unrolled,
      "Picture to write, .png: the form unrolled; beside it .json (its scale) and .svg (what was traced over "
      "it)");
  add_lines(c, a->trace.drawn, "decide; shared (one line between two pieces); own (each piece its own line)");
  add_reading(c, a->reading);
}

void add_paper(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanPaperArguments>();
  CLI::App* c =
      sub_command(plan, chosen, "paper",
                  "Read pieces of paper, taken off the form and scanned flat, and lay them back on it",
                  run_plan_paper, a);
  c->add_option(
       "SCAN", a->scans,
       "Pictures from a flatbed (PNG, TIFF, JPEG): papers with their drawn side on the glass, upper edge "
       "up, apart, on a darker or lighter sheet; beside them the check line")
      ->required();
  c->add_option(
       "--check-line", a->check_line_mm,
       "Measured length of the check line, mm: a straight dark line with a tick across either end, on a "
       "paper of its own; those on cards and patterns will do")
      ->required()
      ->check(number_between(20.0, 1000.0));
  c->add_option("--dpi", a->dpi, "Dots per inch the scanner was set to (default: as the file says)")
      ->check(number_between(50.0, 10000.0));
  c->add_option("--form", a->form, "Form file, table, CSV, SVG or DXF")->required();
  c->add_option(
      "--labels", a->labels,
      "File of names, a line each: number, label, such as P07, B03; the letter is the ring (A the lowest), "
      "the number counts counter-clockwise; or with the ring as a third column");
  c->add_option(
      "--numbered", a->numbered,
      "Page to write, .html: the papers are tapped in the order of their names, and it makes the file "
      "for --labels; or a drawing, .svg, of the papers with their numbers");
  c->add_option("--out", a->out, "Plan to write, such as plan.json")->required();
  add_stock(c, a->trace.tile_thickness_mm, a->trace.smallest_fill_mm, a->gap_mm, a->trace.name);
  c->add_option("--bevel", a->trace.bevel_deg,
                "Bevel of the walls, degrees (default: from the geometry for shared lines, else 10)");
  add_lines(
      c, a->trace.drawn,
      "decide; shared (cut along one line between two pieces, the gap is taken out of it); own (each paper "
      "is its piece)");
  add_reading(c, a->reading);
}

void add_patterns(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanPatternsArguments>();
  CLI::App* c = sub_command(plan, chosen, "patterns", "Cutting patterns at 1:1", run_plan_patterns, a);
  c->add_option("PLAN", a->plan, "plan.json")->required();
  c->add_option("--out", a->out, "patterns.pdf; or .svg or .dxf, one file a sheet")->required();
  c->add_option("--sheet", a->sheet, "a4, letter, or WIDTHxHEIGHT in mm");
  c->add_option("--board", a->board, "Stock instead of paper: LENGTHxWIDTH in mm, grain along the length");
  c->add_option("--kerf", a->options.kerf_mm,
                "Width of the blade's cut; a dashed line for its middle is added")
      ->check(number_between(0.0, 10.0));
  c->add_option("--spacing", a->options.spacing_mm, "Between pieces, mm")->check(number_between(1.0, 100.0));
  const std::map<std::string, sheets::Grain> grains{{"pole", sheets::Grain::towards_pole},
                                                    {"ring", sheets::Grain::along_ring}};
  c->add_option("--grain", a->options.grain, "Grain towards the pole, or along the ring")
      ->transform(one_of(grains));
}

void add_check(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanCheckArguments>();
  CLI::App* c =
      sub_command(plan, chosen, "check", "What a layout asks for before cutting", run_plan_check, a);
  c->add_option("PLAN", a->plan, "plan.json")->required();
  c->add_option("--smallest-fill", a->smallest_fill_mm, "Overrides the plan's, mm")
      ->check(number_between(0.05, 50.0));
  c->add_option("--smallest-piece", a->limits.smallest_piece_mm,
                "Smaller pieces are hard to hold, mm across");
  c->add_option("--rocking", a->limits.largest_rocking_mm, "Largest gap allowed under a flat back, mm");
  c->add_option("--board", a->board, "Stock for the board count: LENGTHxWIDTH in mm");
  c->add_option("--kerf", a->limits.kerf_mm, "Width of the blade's cut, mm")
      ->check(number_between(0.0, 10.0));
}

void add_draw(CLI::App& plan, Chosen& chosen) {
  auto a = std::make_shared<PlanDrawArguments>();
  CLI::App* c = sub_command(plan, chosen, "draw", "Pictures of a layout, and strips to copy it onto the form",
                            run_plan_draw, a);
  c->add_option("PLAN", a->plan, "plan.json")->required();
  c->add_option("--out", a->out, "Picture to write: .svg, .png or .pdf")->required();
  const std::map<std::string, PlanView> views{{"map", PlanView::map},
                                              {"sides", PlanView::sides},
                                              {"gores", PlanView::gores},
                                              {"bands", PlanView::bands}};
  c->add_option("--view", a->view,
                "map; sides (four elevations); gores or bands (1:1 strips that wrap onto the form)")
      ->transform(one_of(views));
  c->add_option("--sheet", a->sheet, "For strips: a4, letter, or WIDTHxHEIGHT in mm");
  c->add_option("--gores", a->gores, "How many gores (default: as many as the paper needs to lie smooth)")
      ->check(number_between(4, 96));
}

}  // namespace

void add_plan_command(CLI::App& app, Chosen& chosen) {
  CLI::App* plan = app.add_subcommand(
      "plan", "From a bare form to cutting patterns: form, make, trace, paper, patterns, check, draw");
  plan->require_subcommand(0, 1);
  plan->parse_complete_callback([plan] {
    if (plan->get_subcommands().empty()) {
      throw CLI::RequiredError(
          "plan: say what to do: form, make, trace, paper, patterns, check or draw (--help tells more)",
          CLI::ExitCodes::RequiredError);
    }
  });
  add_form(*plan, chosen);
  add_make(*plan, chosen);
  add_trace(*plan, chosen);
  add_paper(*plan, chosen);
  add_patterns(*plan, chosen);
  add_check(*plan, chosen);
  add_draw(*plan, chosen);
}

}  // namespace interstice::app
