// The shell as the corrections see it: pieces as solids, and for every pair that is or may come near, the
// width it has and the width it must keep. Built once from the document; internal to the corrections.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "geometry/index.h"
#include "rework/correction_motion.h"
#include "rework/corrections.h"

namespace interstice::rework {

// A piece's place in the document, and a pair's in the shell.
using PieceIndex = geometry::Index<struct PieceTag>;
using PairIndex = geometry::Index<struct PairTag>;
template <class T>
using ByPiece = geometry::IndexedVector<PieceIndex, T>;
template <class T>
using ByPair = geometry::IndexedVector<PairIndex, T>;

struct ShellPiece {
  std::string label;
  int ring = 1;
  solid::PieceSolid solid;   // as measured; planned if it was not measured
  Eigen::Vector3d centroid;  // of the face
  double rim_mm = 0;         // farthest arris point from the centroid
  double wall_mm = 0;        // mean height of the walls
  double face_above_mm = 0;  // the outer face over the plane of the arris
  bool measured = false;
  bool free = false;  // may be touched
  std::vector<Eigen::Vector3d> inward;
};

// A document's stated width and its outlines should say nearly the same; where they differ by more, the outlines count.
constexpr double kMostOffset_mm = 0.5;

struct ShellPair {
  PieceIndex a, b;
  std::optional<std::size_t> seam;  // in the document
  double u95_mm = 0, throat_u95_mm = 0;
  double offset_mm = 0;  // measured narrowest width less the outlines' (the measurement corrects for noise)
  double now_mm = 0;     // narrowest width
  double lower_mm = 0;   // must not be below this in the end
  double upper_mm = 0;   // narrowest width must not be above this
  // The same of the throat within the finished wall; lower: minus infinity where none is known.
  double throat_offset_mm = 0, throat_now_mm = 0, throat_lower_mm = 0;
  bool must_rise = false;  // mouth or throat
  double value = 1;        // of freeing it, 1 to 2
};

// A pair's two widths; the throat is infinite where it does not matter.
struct PairWidths {
  double mouth_mm = 0, throat_mm = 0;
};

class LayoutMemo;

struct CorrectionShell {
  geometry::Profile form;
  std::optional<plan::FinishedWall> finished_wall;
  ByPiece<ShellPiece> pieces;
  ByPair<ShellPair> pairs;
  double reach_mm = 0;               // pairs farther apart can't matter
  std::shared_ptr<LayoutMemo> memo;  // what was laid out and measured before (correction_memo.h)
};

CorrectionShell make_shell(const seams::FitDocument& fit, const plan::Plan& plan,
                           const CorrectionOptions& options);

// The form as measured if the document has it, else as planned.
geometry::Profile form_of(const seams::FitDocument& fit, const plan::Plan& plan);

// A planned piece as a solid.
solid::PieceSolid planned_solid(const plan::Plan& plan, geometry::TileIndex tile);

// What is done to each piece.
struct PieceChange {
  Move move;
  std::vector<SandedStretch> sanded;
  std::vector<PieceIndex> facing;  // for each stretch: the piece on the other side
  bool is_none() const { return move.is_zero() && sanded.empty(); }
};
using ShellChange = ByPiece<PieceChange>;

// By how much a pair misses what it must keep, and the throat by how much; given up: what it had. 0: nothing.
struct Missing {
  double mouth_mm = 0, throat_mm = 0, above_mm = 0;
  bool any() const { return mouth_mm > 0 || throat_mm > 0 || above_mm > 0; }
};
Missing missing_of(const ShellPair& pair, const PairWidths& widths, bool given_up);
// Both widths what they have to be in the end.
bool wide_enough(const ShellPair& pair, const PairWidths& widths);

// What turning leaves of a piece of the shell.
solid::SolidBody kept_body(const CorrectionShell& shell, PieceIndex piece, const solid::PieceSolid& solid);

solid::PieceSolid changed_piece(const CorrectionShell& shell, PieceIndex piece, const PieceChange& change);

}  // namespace interstice::rework
