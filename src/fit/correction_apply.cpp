// The what-if: corrections applied to the measured outlines, and everything that follows from them.
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "core/errors.h"
#include "fit/correction_shell.h"
#include "geometry/polygon.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kReach = 16.0;    // widths beyond are not followed
constexpr double kOnEdgeMm = 6.0;  // a stretch's end must lie this near the outline, on the map

std::size_t tile_called(const FitDocument& fit, const std::string& label, const std::string& where) {
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) {
    if (fit.tiles[i].label == label) return i;
  }
  throw InputError(where + ": there is no piece \"" + one_line(label, 40) + "\"");
}

// Arc length on the outline of the place nearest to a map point.
double arc_near(const Profile& form, const FitTile& tile, const SolidBody& body, const Vector2d& uv,
                const std::string& where) {
  std::vector<Vector3d> on_map;
  for (const Vector3d& p : tile.arris) {
    const Vector2d q = form.locate(p).uv;
    on_map.emplace_back(q.x(), q.y(), 0);
  }
  const NearestOnPolyline hit = nearest_on_closed(on_map, {uv.x(), uv.y(), 0});
  if (!(hit.distance <= kOnEdgeMm)) throw InputError(where + ": is not on the edge of " + tile.label);
  return body.arc_at(hit.segment, hit.t);
}

struct TileChange {
  std::vector<SandedStretch> sanded;
  std::vector<Move> moves;
};

std::map<std::size_t, TileChange> gather(const FitDocument& fit, const Profile& form,
                                         const std::vector<Correction>& corrections) {
  std::map<std::size_t, TileChange> out;
  for (std::size_t i = 0; i < corrections.size(); ++i) {
    const Correction& c = corrections[i];
    const std::string where = "corrections[" + std::to_string(i) + "]";
    const std::size_t place = tile_called(fit, c.tile, where + ".tile");
    const FitTile& tile = fit.tiles[place];
    if (tile.state != TileState::placed || tile.arris.size() < 3 || tile.root.size() != tile.arris.size()) {
      throw InputError(where + ".tile: " + tile.label + " was not measured");
    }
    if (c.action == Correction::Action::move) {
      out[place].moves.push_back({c.along_mm, c.towards_pole_mm, c.turn_deg});
      continue;
    }
    if (!c.facing.empty()) tile_called(fit, c.facing, where + ".facing");
    const SolidBody body({tile.face, tile.arris, tile.root});
    out[place].sanded.push_back({arc_near(form, tile, body, c.from, where + ".from"),
                                 arc_near(form, tile, body, c.to, where + ".to"), c.depth_mm});
  }
  return out;
}

void change_tile(const Profile& form, const TileChange& change, FitTile& tile) {
  PieceSolid piece = sanded_piece({tile.face, tile.arris, tile.root}, change.sanded);
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

using SeamsByPair = std::map<std::pair<std::string, std::string>, ShellSeam>;

IndexedVector<TileIndex, SolidBody> bodies_of(const FitDocument& fit) {
  IndexedVector<TileIndex, SolidBody> out;
  for (const FitTile& t : fit.tiles) {
    const bool solid = t.state == TileState::placed && t.arris.size() >= 3 && t.root.size() == t.arris.size();
    out.push_back(solid ? SolidBody({t.face, t.arris, t.root}) : SolidBody());
  }
  return out;
}

SeamsByPair seams_by_pair(const FitDocument& fit, const IndexedVector<TileIndex, SolidBody>& bodies,
                          int threads) {
  SeamsByPair out;
  for (ShellSeam& s : mouths_of_shell(bodies, {.limit_mm = kReach}, threads)) {
    out[{fit.tiles[s.a.value].label, fit.tiles[s.b.value].label}] = std::move(s);
  }
  return out;
}

double sd_near(const FitSeam& before, const Vector3d& place) {
  double sd = before.u95_mm.value_or(0) / 2, nearest = std::numeric_limits<double>::infinity();
  for (const SeamSample& s : before.samples) {
    const double distance = ((s.a + s.b) / 2 - place).squaredNorm();
    if (distance < nearest) nearest = distance, sd = s.sd_mm;
  }
  return sd;
}

// What is known of a seam in the outlines before and after; the stated figures shift by the difference.
void remeasure(const FitDocument& fit, const Profile& form, const ShellSeam* before, const ShellSeam& after,
               FitSeam& seam) {
  const auto summary = *summarise_mouth(after.samples, fit.smallest_fill_mm);
  const FitSeam old = seam;
  double offset = 0;
  if (before != nullptr && seam.narrowest_mm) {
    offset = *seam.narrowest_mm - summarise_mouth(before->samples, fit.smallest_fill_mm)->narrowest_mm;
    if (std::abs(offset) > 0.5) offset = 0;
  }
  seam.at = summary.at;
  seam.map = form.locate(summary.at).uv;
  seam.length_mm = seam.tight_length_mm = 0;
  seam.samples.clear();
  for (const MouthSample& m : after.samples) {
    const double width = m.width_mm + offset;
    if (width > 8.0) continue;
    seam.samples.push_back({m.s_mm, width, sd_near(old, (m.on_a + m.on_b) / 2), m.on_a, m.on_b});
    if (m.third_nearer) continue;
    seam.length_mm += 0.5;
    if (width < fit.smallest_fill_mm) seam.tight_length_mm += 0.5;
  }
  if (seam.verdict == Verdict::unseen) return;
  seam.narrowest_mm = summary.narrowest_mm + offset;
  seam.verdict = verdict_of(*seam.narrowest_mm, seam.u95_mm.value_or(0), fit.smallest_fill_mm);
}

double usual_u95(const FitDocument& fit) {
  std::vector<double> all;
  for (const FitSeam& s : fit.seams) {
    if (s.u95_mm) all.push_back(*s.u95_mm);
  }
  std::sort(all.begin(), all.end());
  return all.empty() ? 0 : all[all.size() / 2];
}

}  // namespace

FitDocument apply_corrections(const FitDocument& fit, const Plan& plan,
                              const std::vector<Correction>& corrections, int threads) {
  const Profile form = form_of(fit, plan);
  const auto changes = gather(fit, form, corrections);
  FitDocument out = fit;
  out.corrections.clear();
  out.corrections_refused.clear();
  for (const auto& [place, change] : changes) change_tile(form, change, out.tiles[place]);
  const auto bodies_before = bodies_of(fit), bodies_after = bodies_of(out);
  const SeamsByPair before = seams_by_pair(fit, bodies_before, threads);
  SeamsByPair after = seams_by_pair(out, bodies_after, threads);
  for (FitSeam& seam : out.seams) {
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
      if (seam.narrowest_mm) seam.narrowest_mm = kReach, seam.verdict = Verdict::clear;
      continue;
    }
    remeasure(out, form, then == before.end() ? nullptr : &then->second, now->second, seam);
    const auto throat_then = throat_of(bodies_before[TileIndex(a)], bodies_before[TileIndex(b)]);
    const auto throat_now = throat_of(bodies_after[TileIndex(a)], bodies_after[TileIndex(b)]);
    if (seam.throat_mm && throat_then && throat_now)
      *seam.throat_mm += throat_now->width_mm - throat_then->width_mm;
    after.erase(key);
  }
  // Pieces that were no neighbours and have become so.
  for (const auto& [key, s] : after) {
    if (!changes.contains(s.a.value) && !changes.contains(s.b.value)) continue;
    FitSeam seam;
    seam.tiles = {key.first, key.second};
    seam.u95_mm = usual_u95(fit);
    seam.verdict = Verdict::clear;
    remeasure(out, form, nullptr, s, seam);
    if (*seam.narrowest_mm <= 8.0 && seam.length_mm >= 5.0) out.seams.push_back(seam);
  }
  return out;
}

std::vector<WidthChange> width_changes(const FitDocument& before, const FitDocument& after) {
  std::map<std::array<std::string, 2>, const FitSeam*> then;
  for (const FitSeam& s : before.seams) then[s.tiles] = &s;
  std::vector<WidthChange> out;
  for (const FitSeam& s : after.seams) {
    if (!s.narrowest_mm) continue;
    const auto old = then.find(s.tiles);
    const bool known = old != then.end() && old->second->narrowest_mm;
    WidthChange change{s.tiles,
                       known ? *old->second->narrowest_mm : std::nan(""),
                       *s.narrowest_mm,
                       s.u95_mm.value_or(0),
                       known ? old->second->verdict : Verdict::unseen,
                       s.verdict};
    if (known && std::abs(change.after_mm - change.before_mm) <= 0.005 && s.verdict == Verdict::clear)
      continue;
    out.push_back(change);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& a, const auto& b) { return a.after_mm < b.after_mm; });
  return out;
}

}  // namespace interstice
