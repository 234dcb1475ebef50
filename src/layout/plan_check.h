// What a layout asks of the maker before a saw is switched on: gaps, pieces hard to hold or to sit, seam
// volume, stock.
#pragma once

#include <string>
#include <vector>

#include "layout/turned_wall.h"
#include "solid/piece_edges.h"

namespace interstice::layout {

struct CheckLimits {
  double smallest_piece_mm = 15;  // largest circle in the face; smaller pieces are hard to hold at a saw
                                  // (common practice, no source)
  double largest_rocking_mm =
      3.0;  // under a flat back (hot glue bridges about this much; common practice, no source)
  double level_run_pieces = 3.0;  // past so many pieces' widths a seam line may run level round the bowl
  double board_width_mm = 150, board_length_mm = 600;
  double kerf_mm = 2;
};

struct CheckFinding {
  enum class Kind { narrow_mouth, narrow_throat, overlap, small_piece, rocking, level_run, thin_wall } kind;
  std::string text;  // one line, with what to do
};

struct PlanCheck {
  std::vector<solid::PlannedSeam> seams;
  std::vector<CheckFinding> findings;
  double narrowest_mouth_mm = 0, widest_mouth_mm = 0;  // over seams, of each seam's narrowest
  double mean_face_mm2 = 0, face_spread = 0;           // coefficient of variation
  double footprint_spread = 0;
  double seam_volume_ml = 0;    // between the walls, from the form to the faces taped flush
  double bed_volume_ml = 0;     // under the flat backs, filled by glue or resin
  double level_run_pieces = 0;  // longest seam line that keeps one height, in mean widths of a face
  std::size_t boards = 0;       // of the given size
  double board_area_m2 = 0;     // the last board counted only as far as it is used
  double piece_area_m2 = 0, waste_share = 0;
  TurnedWall turned;      // what turning the shell round leaves of the stock
  double board_feet = 0;  // of that area: 144 cubic inches each
};

// The longest stretch of a seam line that keeps one height of the form, in mean widths of a piece's face.
double level_run_pieces(const plan::Plan& plan, double mean_face_mm2);

PlanCheck check_plan(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                     const std::vector<solid::PieceGeometry>& pieces, const CheckLimits& limits);

const char* name_of(CheckFinding::Kind kind);

// 144 cubic inches of wood = 2 359 737.216 mm^3 (inch = 25.4 mm exactly).
double board_feet(double area_mm2, double thickness_mm);

}  // namespace interstice::layout
