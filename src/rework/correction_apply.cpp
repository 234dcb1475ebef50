// The what-if: corrections applied to the measured outlines, and everything that follows from them.
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "core/errors.h"
#include "geometry/polygon.h"
#include "rework/correction_shell.h"

namespace interstice::rework {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kReach = 16.0;    // widths beyond are not followed
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
                                 arc_near(form, tile, body, c.to, where + ".to"), c.depth_mm});
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

using SeamsByPair = std::map<std::pair<std::string, std::string>, solid::ShellSeam>;

geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies_of(const seams::FitDocument& fit) {
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> out;
  for (const seams::FitTile& t : fit.tiles) {
    const bool solid =
        t.state == plan::TileState::placed && t.arris.size() >= 3 && t.root.size() == t.arris.size();
    out.push_back(solid ? solid::SolidBody({t.face, t.arris, t.root}) : solid::SolidBody());
  }
  return out;
}

SeamsByPair seams_by_pair(const seams::FitDocument& fit,
                          const geometry::IndexedVector<geometry::TileIndex, solid::SolidBody>& bodies,
                          int threads) {
  SeamsByPair out;
  for (solid::ShellSeam& s : solid::mouths_of_shell(bodies, {.limit_mm = kReach}, threads)) {
    out[{fit.tiles[s.a.value].label, fit.tiles[s.b.value].label}] = std::move(s);
  }
  return out;
}

double sd_near(const seams::FitSeam& before, const Vector3d& place) {
  double sd = before.u95_mm.value_or(0) / core::kCoverage, nearest = std::numeric_limits<double>::infinity();
  for (const seams::SeamSample& s : before.samples) {
    const double distance = ((s.a + s.b) / 2 - place).squaredNorm();
    if (distance < nearest) nearest = distance, sd = s.sd_mm;
  }
  return sd;
}

// What is known of a seam in the outlines before and after; the stated figures shift by the difference.
void remeasure(const seams::FitDocument& fit, const geometry::Profile& form, const solid::ShellSeam* before,
               const solid::ShellSeam& after, seams::FitSeam& seam) {
  const auto summary = *solid::summarise_mouth(after.samples, fit.smallest_fill_mm);
  const seams::FitSeam old = seam;
  double offset = 0;
  if (before != nullptr && seam.narrowest_mm) {
    offset = *seam.narrowest_mm - solid::summarise_mouth(before->samples, fit.smallest_fill_mm)->narrowest_mm;
    if (std::abs(offset) > 0.5) offset = 0;
  }
  seam.at = summary.at;
  seam.map = form.locate(summary.at).uv;
  seam.length_mm = seam.tight_length_mm = 0;
  seam.samples.clear();
  for (const solid::MouthSample& m : after.samples) {
    const double width = m.width_mm + offset;
    if (width > core::kWidestSeam_mm) continue;
    seam.samples.push_back({m.s_mm, width, sd_near(old, (m.on_a + m.on_b) / 2), m.on_a, m.on_b});
    if (m.third_nearer) continue;
    seam.length_mm += core::kSeamStep_mm;
    if (width < fit.smallest_fill_mm) seam.tight_length_mm += core::kSeamStep_mm;
  }
  if (seam.verdict == seams::Verdict::unseen) return;
  seam.narrowest_mm = summary.narrowest_mm + offset;
  seam.verdict =
      core::judge(core::width_of(*seam.narrowest_mm, seam.u95_mm.value_or(0)), fit.smallest_fill_mm);
}

double usual_u95(const seams::FitDocument& fit) {
  std::vector<double> all;
  for (const seams::FitSeam& s : fit.seams) {
    if (s.u95_mm) all.push_back(*s.u95_mm);
  }
  std::sort(all.begin(), all.end());
  return all.empty() ? 0 : all[all.size() / 2];
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
  const auto bodies_before = bodies_of(fit), bodies_after = bodies_of(out);
  const SeamsByPair before = seams_by_pair(fit, bodies_before, threads);
  SeamsByPair after = seams_by_pair(out, bodies_after, threads);
  for (seams::FitSeam& seam : out.seams) {
    const std::size_t a = tile_called(fit, seam.tiles[0], "seams"),
                      b = tile_called(fit, seam.tiles[1], "seams");
    const std::pair key(fit.tiles[std::min(a, b)].label, fit.tiles[std::max(a, b)].label);
    const auto now = after.find(key);
    const auto then = before.find(key);
    if (!changes.contains(a) && !changes.contains(b)) {
      after.erase(key);
      continue;
    }
    if (now == after.end()) {  // beyond reach now
      seam.length_mm = seam.tight_length_mm = 0;
      seam.samples.clear();
      if (seam.narrowest_mm) seam.narrowest_mm = kReach, seam.verdict = seams::Verdict::clear;
      continue;
    }
    remeasure(out, form, then == before.end() ? nullptr : &then->second, now->second, seam);
    const auto throat_then =
        solid::throat_of(bodies_before[geometry::TileIndex(a)], bodies_before[geometry::TileIndex(b)]);
    const auto throat_now =
        solid::throat_of(bodies_after[geometry::TileIndex(a)], bodies_after[geometry::TileIndex(b)]);
    if (seam.throat_mm && throat_then && throat_now)
      *seam.throat_mm += throat_now->width_mm - throat_then->width_mm;
    after.erase(key);
  }
  // Pieces that were no neighbours and have become so.
  for (const auto& [key, s] : after) {
    if (!changes.contains(s.a.value) && !changes.contains(s.b.value)) continue;
    seams::FitSeam seam;
    seam.tiles = {key.first, key.second};
    seam.u95_mm = usual_u95(fit);
    seam.verdict = seams::Verdict::clear;
    remeasure(out, form, nullptr, s, seam);
    if (*seam.narrowest_mm <= core::kWidestSeam_mm && seam.length_mm >= core::kLeastMeasuredSeam_mm)
      out.seams.push_back(seam);
  }
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
                       known ? old->second->verdict : seams::Verdict::unseen,
                       s.verdict};
    if (known && std::abs(change.after_mm - change.before_mm) <= 0.005 && s.verdict == seams::Verdict::clear)
      continue;
    out.push_back(change);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& a, const auto& b) { return a.after_mm < b.after_mm; });
  return out;
}

}  // namespace interstice::rework
