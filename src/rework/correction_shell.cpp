#include "rework/correction_shell.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <set>

#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "plan/piece_model.h"
#include "rework/correction_memo.h"
#include "solid/throat.h"

namespace interstice::rework {
namespace {

using Eigen::Vector3d;

// A width that may shrink by this is as good as unchanged: a fifth of the 0.1 mm corrections are given to.
constexpr double kSame = 0.02;
constexpr double kLittle = 1e-6;

ShellPiece make_piece(const seams::FitTile& tile, const plan::Plan& plan,
                      std::optional<geometry::TileIndex> planned) {
  ShellPiece piece;
  piece.label = tile.label;
  piece.ring = tile.ring;
  piece.measured = tile.state == plan::TileState::placed && tile.arris.size() >= 3 &&
                   tile.root.size() == tile.arris.size();
  if (piece.measured) {
    piece.solid = {tile.face, tile.arris, tile.root};
  } else if (planned) {
    piece.solid = planned_solid(plan, *planned);
  } else {
    return piece;
  }
  piece.face_above_mm = piece.measured ? tile.face_above_arris_mm : 0;
  piece.centroid = face_centroid(piece.solid.face, piece.solid.arris);
  piece.inward = solid::inward_steps(piece.solid.face, piece.solid.arris);
  for (std::size_t i = 0; i < piece.solid.arris.size(); ++i) {
    piece.rim_mm = std::max(piece.rim_mm, (piece.solid.arris[i] - piece.centroid).norm());
    piece.wall_mm +=
        (piece.solid.arris[i] - piece.solid.root[i]).norm() / static_cast<double>(piece.solid.arris.size());
  }
  return piece;
}

double usual_guard(const seams::FitDocument& fit) {
  std::vector<double> guards;
  for (const seams::FitSeam& s : fit.seams) {
    if (s.u95_mm) guards.push_back(core::guard_band_mm(*s.u95_mm));
  }
  return core::median(std::move(guards));
}

using SeamOfPair = std::map<std::pair<PieceIndex, PieceIndex>, std::size_t>;

SeamOfPair index_seams(const seams::FitDocument& fit) {
  std::map<std::string, PieceIndex> place;
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) place[fit.tiles[i].label] = PieceIndex(i);
  SeamOfPair out;
  for (std::size_t s = 0; s < fit.seams.size(); ++s) {
    const auto a = place.find(fit.seams[s].tiles[0]), b = place.find(fit.seams[s].tiles[1]);
    if (a == place.end() || b == place.end() || a == b) continue;
    out[std::minmax(a->second, b->second)] = s;
  }
  return out;
}

// A throat too narrow or in doubt has to be proved wide enough, another must stay as it is or proved.
void bound_throat(const seams::FitSeam& seam, double fill_mm, ShellPair& pair) {
  if (!seam.throat_u95_mm || !std::isfinite(pair.throat_now_mm)) return;
  const double needed = fill_mm + core::guard_band_mm(*seam.throat_u95_mm);
  const bool rises = seam.verdict != seams::Verdict::clear && pair.throat_now_mm < needed;
  pair.must_rise = pair.must_rise || rises;
  pair.throat_lower_mm = rises ? needed : std::min(pair.throat_now_mm - kSame, needed);
}

// The throat as stated and in the outlines.
void measure_throat(const seams::FitSeam& seam, const solid::SolidBody& a, const solid::SolidBody& b,
                    ShellPair& pair) {
  pair.throat_now_mm = std::numeric_limits<double>::infinity();
  if (!seam.throat_mm) return;
  const auto throat = solid::throat_of(a, b);
  if (!throat) return;
  pair.throat_now_mm = throat->width_mm;
  const double offset = *seam.throat_mm - throat->width_mm;
  if (std::abs(offset) <= kMostOffset_mm) pair.throat_offset_mm = offset, pair.throat_now_mm += offset;
}

void set_bounds(const seams::FitDocument& fit, const CorrectionShell& shell, double guard_else,
                double limit_mm, ShellPair& pair) {
  const double fill = fit.smallest_fill_mm;
  pair.throat_lower_mm = -std::numeric_limits<double>::infinity();
  pair.upper_mm = std::numeric_limits<double>::infinity();
  const seams::FitSeam* seam = pair.seam ? &fit.seams[*pair.seam] : nullptr;
  const PieceIndex unmeasured = shell.pieces[pair.a].measured ? pair.b : pair.a;
  if (!shell.pieces[unmeasured].measured) {
    const bool absent = fit.tiles[unmeasured.value].state == plan::TileState::absent;
    pair.lower_mm = absent ? std::min(pair.now_mm - kSame, fill) : pair.now_mm - kSame;
    return;
  }
  if (seam != nullptr && seam->verdict == seams::Verdict::unseen) {
    pair.lower_mm = pair.now_mm - kSame;
    return;
  }
  const double guard = seam != nullptr && seam->u95_mm ? core::guard_band_mm(*seam->u95_mm) : guard_else;
  if (seam != nullptr)
    pair.u95_mm = seam->u95_mm.value_or(0), pair.throat_u95_mm = seam->throat_u95_mm.value_or(0);
  pair.must_rise = seam != nullptr && seam->verdict != seams::Verdict::clear && pair.now_mm < fill + guard;
  pair.lower_mm = pair.must_rise ? fill + guard : std::min(pair.now_mm - kSame, fill + guard);
  if (seam != nullptr) bound_throat(*seam, fill, pair);
  if (seam != nullptr && pair.now_mm <= limit_mm) pair.upper_mm = std::max(pair.now_mm, limit_mm - guard);
}

// Pieces that are no neighbours must not become ones that stand too near behind the mouth.
void keep_throat(const CorrectionShell& shell, double needed_mm, ShellPair& pair) {
  if (!shell.pieces[pair.a].measured || !shell.pieces[pair.b].measured) return;
  const auto throat =
      solid::throat_of(kept_body(shell, pair.a, shell.pieces[pair.a].solid),
                       kept_body(shell, pair.b, shell.pieces[pair.b].solid), {.limit_mm = shell.reach_mm});
  if (!throat) return;
  pair.throat_now_mm = throat->width_mm;
  pair.throat_lower_mm = std::min(pair.throat_now_mm - kSame, needed_mm);
}

void set_values(const seams::FitDocument& fit, const CorrectionOptions& options, CorrectionShell& shell) {
  double largest = 0;
  const auto value = [&](const ShellPair& p) {
    const seams::FitSeam& seam = fit.seams[*p.seam];
    return options.seam_value.empty() ? seam.tight_length_mm + seam.pinched_length_mm
                                      : options.seam_value[*p.seam];
  };
  for (const ShellPair& p : shell.pairs) {
    if (p.must_rise) largest = std::max(largest, value(p));
  }
  for (ShellPair& p : shell.pairs) {
    if (p.must_rise && largest > 0) p.value = 1 + value(p) / largest;
  }
}

}  // namespace

geometry::Profile form_of(const seams::FitDocument& fit, const plan::Plan& plan) {
  return fit.form_profile.size() >= 3 ? geometry::Profile(fit.form_profile) : plan.profile;
}

solid::PieceSolid planned_solid(const plan::Plan& plan, geometry::TileIndex tile) {
  const plan::PieceFace planned = plan::planned_face(plan, tile);
  solid::PieceSolid solid;
  solid.face = planned.frame;
  for (const Eigen::Vector2d& p : planned.outline) solid.arris.push_back(planned.frame.lift(p));
  const solid::Walls walls{.bevel_deg = plan.bevel_deg, .thickness_mm = plan.tile_thickness_mm};
  solid.root = solid::root_from_bevel(solid.face, solid.arris, walls, plan.profile);
  return solid;
}

Missing missing_of(const ShellPair& pair, const PairWidths& widths, bool given_up) {
  const double lower = given_up ? std::min(pair.lower_mm, pair.now_mm - kSame) : pair.lower_mm;
  const double throat =
      given_up ? std::min(pair.throat_lower_mm, pair.throat_now_mm - kSame) : pair.throat_lower_mm;
  const auto over = [](double x) { return x > kLittle ? x : 0.0; };
  return {over(lower - widths.mouth_mm), over(throat - widths.throat_mm),
          over(widths.mouth_mm - pair.upper_mm)};
}

bool wide_enough(const ShellPair& pair, const PairWidths& widths) {
  return widths.mouth_mm >= pair.lower_mm - kLittle && widths.throat_mm >= pair.throat_lower_mm - kLittle;
}

solid::SolidBody kept_body(const CorrectionShell& shell, PieceIndex piece, const solid::PieceSolid& solid) {
  if (solid.arris.empty()) return {};
  if (!shell.finished_wall) return solid::SolidBody(solid);
  return solid::SolidBody(solid::kept_part(solid, shell.pieces[piece].face_above_mm, *shell.finished_wall));
}

solid::PieceSolid changed_piece(const CorrectionShell& shell, PieceIndex piece, const PieceChange& change) {
  const ShellPiece& p = shell.pieces[piece];
  const solid::PieceSolid sanded = sanded_piece(p.solid, change.sanded);
  if (change.move.is_zero()) return sanded;
  return moved_piece(sanded, motion_of(change.move, shell.form, p.centroid, p.solid.face.normal));
}

CorrectionShell make_shell(const seams::FitDocument& fit, const plan::Plan& plan,
                           const CorrectionOptions& options) {
  CorrectionShell shell;
  shell.memo = std::make_shared<LayoutMemo>();
  shell.form = form_of(fit, plan);
  shell.finished_wall = fit.finished_wall;
  std::map<std::string, geometry::TileIndex> planned;
  for (std::size_t i = 0; i < plan.tiles.size(); ++i)
    planned[plan.tiles[geometry::TileIndex(i)].label] = geometry::TileIndex(i);
  const std::set<std::string> locked(options.locked.begin(), options.locked.end());
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  for (const seams::FitTile& tile : fit.tiles) {
    const auto plan_place = planned.find(tile.label);
    const PieceIndex at = shell.pieces.push_back(make_piece(
        tile, plan, plan_place == planned.end() ? std::nullopt : std::optional(plan_place->second)));
    ShellPiece& piece = shell.pieces[at];
    piece.free = piece.measured && !locked.contains(tile.label);
    bodies.push_back(piece.solid.arris.empty() ? solid::SolidBody() : solid::SolidBody(piece.solid));
  }
  // Beyond this, two pieces that both move as far as they may towards each other still keep the smallest
  // fill; and what opens beyond the limit is seen to.
  double rim = 0;
  for (const ShellPiece& piece : shell.pieces) rim = std::max(rim, piece.rim_mm);
  const double travel = options.glued ? 0
                                      : std::sqrt(2.0) * options.max_move_mm +
                                            options.max_turn_deg * std::numbers::pi / 180.0 * rim;
  shell.reach_mm = std::max(options.limit_mm + 1, fit.smallest_fill_mm + 1 + 2 * travel);
  const SeamOfPair seams = index_seams(fit);
  const double guard_else = usual_guard(fit);
  const auto candidates = solid::candidate_neighbours(bodies, shell.reach_mm);
  std::vector<std::optional<ShellPair>> found(candidates.size());
  core::parallel_for(candidates.size(), options.threads, [&](std::size_t k) {
    const auto [a, b] = candidates[k];
    const PieceIndex of_a(a.value), of_b(b.value);
    if (!shell.pieces[of_a].measured && !shell.pieces[of_b].measured) return;
    const auto summary = solid::summarise_mouth(
        solid::mouth_along(bodies[a], bodies[b], {.limit_mm = shell.reach_mm}), fit.smallest_fill_mm);
    if (!summary) return;
    ShellPair pair;
    pair.a = of_a;
    pair.b = of_b;
    if (const auto s = seams.find({of_a, of_b}); s != seams.end()) pair.seam = s->second;
    pair.now_mm = summary->narrowest_mm;
    if (pair.seam && fit.seams[*pair.seam].narrowest_mm) {
      const double offset = *fit.seams[*pair.seam].narrowest_mm - pair.now_mm;
      if (std::abs(offset) <= kMostOffset_mm) pair.offset_mm = offset, pair.now_mm += offset;
      measure_throat(fit.seams[*pair.seam], kept_body(shell, pair.a, shell.pieces[pair.a].solid),
                     kept_body(shell, pair.b, shell.pieces[pair.b].solid), pair);
    }
    set_bounds(fit, shell, guard_else, options.limit_mm, pair);
    if (!pair.seam) keep_throat(shell, fit.smallest_fill_mm + guard_else, pair);
    found[k] = pair;
  });
  for (const auto& pair : found) {
    if (pair) shell.pairs.push_back(*pair);
  }
  set_values(fit, options, shell);
  return shell;
}

}  // namespace interstice::rework
