// Cutting patterns at 1:1: the outer face of every piece on sheets, with what the saw needs to know.
#pragma once

#include "layout/nesting.h"
#include "sheets/drawing.h"
#include "solid/piece_edges.h"

namespace interstice::sheets {

struct SheetSize {
  double width_mm = 210, height_mm = 297;
  std::string name = "A4";
};
// "a4", "letter", or "600x150" (mm). Throws InputError.
SheetSize parse_sheet(const std::string& text);

enum class Grain { towards_pole, along_ring };

struct PatternOptions {
  SheetSize sheet;
  bool board = false;     // the sheet is stock: grain along its width, no notes on it but the check line
  double kerf_mm = 0;     // the blade's middle runs half a kerf outside the face's outline (dashed)
  double spacing_mm = 4;  // between cuts
  Grain grain = Grain::towards_pole;
};

struct Patterns {
  std::vector<Drawing> sheets;        // pieces
  std::vector<Drawing> cutting_list;  // table pages, cautions first
  layout::Nesting nesting;
};

// Throws InputError naming the piece that does not fit the sheet.
Patterns make_patterns(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                       const std::vector<solid::PieceGeometry>& pieces, const PatternOptions& options);

// What the cutting list says before its table; one sentence a line.
std::vector<std::string> cutting_cautions();

}  // namespace interstice::sheets
