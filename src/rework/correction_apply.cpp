// The what-if: corrections applied to the measured outlines, and everything that follows from them.
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "core/errors.h"
#include "geometry/polygon.h"
#include "rework/correction_remeasure.h"
#include "rework/correction_shell.h"

namespace interstice::rework {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kOnEdgeMm = 6.0;  // a stretch's end must lie this near the outline, on the map

std::size_t tile_called(const seams::FitDocument& fit, const std::string& label, const std::string& where) {
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) {
    if (fit.tiles[i].label == label) return i;
  }
  throw core::InputError(where + ": there is no piece \"" + core::one_line(label, 40) + "\"");
}

// Arc length on the outline of the place nearest to a map point.
double arc_near(const geometry::Profile& form, const seams::FitTile& tile, const solid::SolidBody& body,
                const Vector2d& uv, const std::string& where) {
  std::vector<Vector3d> on_map;
  for (const Vector3d& p : tile.arris) {
    const Vector2d q = form.locate(p).uv;
    on_map.emplace_back(q.x(), q.y(), 0);
  }
  const geometry::NearestOnPolyline hit = geometry::nearest_on_closed(on_map, {uv.x(), uv.y(), 0});
  if (!(hit.distance <= kOnEdgeMm)) throw core::InputError(where + ": is not on the edge of " + tile.label);
  return body.arc_at(hit.segment, hit.t);
}

struct TileChange {
  std::vector<SandedStretch> sanded;
  std::vector<Move> moves;
};

std::map<std::size_t, TileChange> gather(const seams::FitDocument& fit, const geometry::Profile& form,
                                         const std::vector<seams::Correction>& corrections) {
  std::map<std::size_t, TileChange> out;
  for (std::size_t i = 0; i < corrections.size(); ++i) {
    const seams::Correction& c = corrections[i];
    const std::string where = "corrections[" + std::to_string(i) + "]";
    const std::size_t place = tile_called(fit, c.tile, where + ".tile");
    const seams::FitTile& tile = fit.tiles[place];
    if (tile.state != plan::TileState::placed || tile.arris.size() < 3 ||
        tile.root.size() != tile.arris.size()) {
      throw core::InputError(where + ".tile: " + tile.label + " was not measured");
    }
    if (c.action == seams::Correction::Action::move) {
      out[place].moves.push_back({c.along_mm, c.towards_pole_mm, c.turn_deg});
      continue;
    }
    if (!c.facing.empty()) tile_called(fit, c.facing, where + ".facing");
    const solid::SolidBody body({tile.face, tile.arris, tile.root});
    out[place].sanded.push_back({arc_near(form, tile, body, c.from, where + ".from"),
                                 arc_near(form, tile, body, c.to, where + ".to"), c.depth_mm, c.angle_deg});
  }
  return out;
}

void change_tile(const geometry::Profile& form, const TileChange& change, seams::FitTile& tile) {
  solid::PieceSolid piece = sanded_piece({tile.face, tile.arris, tile.root}, change.sanded);
  // Moves are of the piece as measured: sanding does not shift the point it turns about.
  Vector3d centroid = face_centroid(tile.face, tile.arris);
  for (const Move& move : change.moves) {
    const Eigen::Isometry3d motion = motion_of(move, form, centroid, piece.face.normal);
    piece = moved_piece(piece, motion);
    centroid = motion * centroid;
    tile.moved_mm += Vector2d(move.along_mm, move.towards_pole_mm);
    tile.turned_deg += move.turn_deg;
  }
  tile.face = piece.face;
  tile.arris = piece.arris;
  tile.root = piece.root;
}

}  // namespace

seams::FitDocument apply_corrections(const seams::FitDocument& fit, const plan::Plan& plan,
                                     const std::vector<seams::Correction>& corrections, int threads) {
  const geometry::Profile form = form_of(fit, plan);
  const auto changes = gather(fit, form, corrections);
  seams::FitDocument out = fit;
  out.corrections.clear();
  out.corrections_refused.clear();
  for (const auto& [place, change] : changes) change_tile(form, change, out.tiles[place]);
  std::set<std::size_t> changed;
  for (const auto& [place, change] : changes) changed.insert(place);
  remeasure_seams(fit, form, changed, threads, out);
  return out;
}

std::vector<WidthChange> width_changes(const seams::FitDocument& before, const seams::FitDocument& after) {
  std::map<std::array<std::string, 2>, const seams::FitSeam*> then;
  for (const seams::FitSeam& s : before.seams) then[s.tiles] = &s;
  std::vector<WidthChange> out;
  for (const seams::FitSeam& s : after.seams) {
    if (!s.narrowest_mm) continue;
    const auto old = then.find(s.tiles);
    const bool known = old != then.end() && old->second->narrowest_mm;
    WidthChange change{s.tiles,
                       known ? *old->second->narrowest_mm : std::nan(""),
                       *s.narrowest_mm,
                       s.u95_mm.value_or(0),
                       known ? old->second->throat_mm : std::nullopt,
                       s.throat_mm,
                       known ? old->second->verdict : seams::Verdict::unseen,
                       s.verdict};
    const bool throat_same =
        std::abs(change.throat_before_mm.value_or(0) - change.throat_after_mm.value_or(0)) <= 0.005;
    const bool same = std::abs(change.after_mm - change.before_mm) <= 0.005 && throat_same;
    if (known && same && s.verdict == seams::Verdict::clear) continue;
    out.push_back(change);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& a, const auto& b) { return a.after_mm < b.after_mm; });
  return out;
}

}  // namespace interstice::rework
