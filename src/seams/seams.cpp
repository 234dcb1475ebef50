#include "seams/seams.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "core/parallel.h"
#include "solid/throat.h"

namespace interstice::seams {

using core::kCoverage;
using Eigen::Vector3d;

namespace {

constexpr double kLeastDirection_mm = 0.05;  // a width shorter than this has none

double sd_at(const MeasuredTile& tile, std::size_t segment, double t) {
  const std::size_t n = tile.sd_mm.size();
  const double a = tile.sd_mm[segment % n], b = tile.sd_mm[(segment + 1) % n];
  if (a >= 0 && b >= 0) return (1 - t) * a + t * b;
  return -std::max(std::abs(a), std::abs(b));
}

double shared_error(const MeasuredTile& tile, std::size_t segment, double t) {
  const std::size_t n = tile.shared_error_mm.size();
  return n == 0 ? 0
                : (1 - t) * tile.shared_error_mm[segment % n] + t * tile.shared_error_mm[(segment + 1) % n];
}

// Variance of a width by an edge's place across the outline and by its height, where faces meet at an angle:
// `away` points from the edge to the other end.
double edge_variance(const MeasuredTile& tile, std::size_t segment, double t, const Vector3d& away) {
  const double sd = sd_at(tile, segment, t);
  const std::size_t n = tile.height_variance.size();
  if (n == 0) return sd * sd;
  const auto at = [&](const std::vector<double>& x) {
    return (1 - t) * x[segment % n] + t * x[(segment + 1) % n];
  };
  const double sine = away.dot(tile.solid.face.normal);
  return std::max(0.0,
                  sd * sd + 2 * sine * at(tile.height_covariance) + sine * sine * at(tile.height_variance));
}

// The wall is less sure by this for every millimetre below the arris.
double bevel_sd(const MeasuredTile& tile, std::size_t segment) {
  const std::size_t n = tile.walls.size();
  if (n == 0) return edges::kPlannedBevelSd_rad;
  return std::max(tile.walls[segment % n].sd_deg, tile.walls[(segment + 1) % n].sd_deg) * std::numbers::pi /
         180;
}

bool wall_measured(const MeasuredTile& tile, std::size_t segment) {
  const std::size_t n = tile.walls.size();
  return n != 0 && tile.walls[segment % n].measured && tile.walls[(segment + 1) % n].measured;
}

// A distance between two pieces a and b: its ends, and the places of the outlines above them.
struct Gap {
  double width_mm = 0;
  Vector3d on_a, on_b;
  std::size_t segment_a = 0, segment_b = 0;
  double t_a = 0, t_b = 0;
};

Gap gap_of(const solid::MouthSample& m) {
  if (m.from == 0) return {m.width_mm, m.on_a, m.on_b, m.segment, m.to_segment, m.t, m.to_t};
  return {m.width_mm, m.on_a, m.on_b, m.to_segment, m.segment, m.to_t, m.t};
}
Gap gap_of(const solid::Throat& t) {
  return {t.width_mm, t.on_a, t.on_b, t.segment_a, t.segment_b, t.t_a, t.t_b};
}

// What errors of the photos' positions do to a width: mm2.
double photo_variance(const MeasuredTile& a, const MeasuredTile& b, const Gap& g,
                      const SeamOptions& options) {
  if (a.shares.empty() || b.shares.empty()) return 0;
  const std::size_t n = a.shares.size();
  const Vector3d at = (g.on_a + g.on_b) / 2;
  const auto shares = [](const MeasuredTile& tile, std::size_t segment, double t) {
    return &tile.shares[(segment + (t > 0.5 ? 1 : 0)) % tile.shares.size()];
  };
  Vector3d across = g.on_b - g.on_a;
  if (across.norm() < kLeastDirection_mm) {  // touching: across the edge
    const auto& arris = a.solid.arris;
    across = (arris[(g.segment_a + 1) % n] - arris[g.segment_a % n]).cross(a.solid.face.normal);
  }
  return options.photos.variance_mm2({at, a.solid.face.normal, shares(a, g.segment_a, g.t_a)},
                                     {at, b.solid.face.normal, shares(b, g.segment_b, g.t_b)},
                                     across.normalized());
}

// What is not known of a wall at a place below the arris, mm.
double wall_sd(const MeasuredTile& tile, std::size_t segment, const Vector3d& on_wall) {
  return bevel_sd(tile, segment) * std::max(0.0, -tile.solid.face.height(on_wall));
}

// The uncertainty of a width; negative when one of its edges was not seen.
double width_sd(const MeasuredTile& a, const MeasuredTile& b, const Gap& g, const SeamOptions& options) {
  const double s1 = sd_at(a, g.segment_a, g.t_a), s2 = sd_at(b, g.segment_b, g.t_b);
  const Vector3d across = (g.on_b - g.on_a).normalized();
  const double edges =
      edge_variance(a, g.segment_a, g.t_a, across) + edge_variance(b, g.segment_b, g.t_b, -across);
  const double scale = options.scale_sd * g.width_mm;
  const double walls = std::hypot(wall_sd(a, g.segment_a, g.on_a), wall_sd(b, g.segment_b, g.on_b));
  // The same way on both edges, outward or inward: added before it is squared (JCGM 100, 5.2.2). Uniform.
  const double shared =
      (shared_error(a, g.segment_a, g.t_a) + shared_error(b, g.segment_b, g.t_b)) / std::sqrt(3.0);
  const double sd =
      std::sqrt(edges + walls * walls + scale * scale + shared * shared + photo_variance(a, b, g, options));
  return s1 < 0 || s2 < 0 ? -sd : sd;
}

// A throat, whose edges may not have been seen.
core::Width throat_width(const MeasuredTile& a, const MeasuredTile& b, const solid::Throat& throat,
                         const SeamOptions& options) {
  const double sd = width_sd(a, b, gap_of(throat), options);
  return {throat.width_mm, sd < 0 ? std::max(kUnseenSd_mm, -sd) : sd};
}

// Narrowest width seen and its uncertainty; empty when no place of the seam was seen. A stretch nobody saw may
// hide a narrower place than the narrowest seen: then the uncertainty reaches down to it.
struct Mouth {
  const SeamSample* narrowest = nullptr;
  core::Width width;
};
Mouth mouth_seen(const FitSeam& seam) {
  Mouth mouth;
  double lowest = std::numeric_limits<double>::infinity();
  for (const SeamSample& s : seam.samples) {
    if (s.sd_mm >= 0 && (!mouth.narrowest || s.width_mm < mouth.narrowest->width_mm)) mouth.narrowest = &s;
    if (s.sd_mm < 0) lowest = std::min(lowest, s.width_mm - kCoverage * std::max(kUnseenSd_mm, -s.sd_mm));
  }
  if (!mouth.narrowest) return mouth;
  const double width = mouth.narrowest->width_mm;
  mouth.width = {width, std::max(mouth.narrowest->sd_mm, (width - lowest) / kCoverage)};
  return mouth;
}

void put_verdict(FitSeam& seam, const Mouth& mouth, double smallest_fill_mm) {
  const core::Judgement judged = core::judge(mouth.width, throat_of(seam), smallest_fill_mm);
  seam.verdict = judged.verdict;
  seam.doubt = judged.doubt;
  // What is tight where it was seen is tight, whatever the rest hides.
  const core::Width there{mouth.narrowest->width_mm, mouth.narrowest->sd_mm};
  if (core::proved_narrow(there, smallest_fill_mm))
    seam.verdict = Verdict::too_tight, seam.doubt = Doubt::none;
}

struct Shell {
  const geometry::IndexedVector<geometry::TileIndex, MeasuredTile>& tiles;
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> kept;  // what turning leaves of them
  const std::vector<std::string>& labels;
  const geometry::Profile& form;
  const SeamOptions& options;
};

// The throat of the whole seam, and below each sample.
void measure_throats(const Shell& shell, const solid::ShellSeam& pair, FitSeam& seam) {
  const MeasuredTile &a = shell.tiles[pair.a], &b = shell.tiles[pair.b];
  const solid::SolidBody &kept_a = shell.kept[pair.a], &kept_b = shell.kept[pair.b];
  const double fill = shell.options.smallest_fill_mm;
  const auto along = solid::throats_along(kept_a, kept_b, pair.samples);
  for (std::size_t i = 0; i < along.size(); ++i) {
    if (!along[i]) continue;
    seam.samples[i].throat = throat_width(a, b, *along[i], shell.options);
    if (!pair.samples[i].third_nearer && along[i]->width_mm < fill && pair.samples[i].width_mm >= fill)
      seam.pinched_length_mm += core::kSeamStep_mm;
  }
  const auto throat = solid::throat_of(kept_a, kept_b);
  if (!throat) return;
  const core::Width width = throat_width(a, b, *throat, shell.options);
  seam.throat_mm = std::max(0.0, width.mm);
  // Searched at other places than the mouth: over the whole thickness never wider than it.
  if (!shell.options.finished_wall) seam.throat_mm = std::min(*seam.throat_mm, *seam.narrowest_mm);
  // At their feet walls are least sure: a place that is hardly wider there may be narrower than the narrowest.
  double lowest = std::numeric_limits<double>::infinity();
  for (const auto& foot : solid::feet_along(kept_a, kept_b, pair.samples)) {
    if (!foot) continue;
    const core::Width w = throat_width(a, b, *foot, shell.options);
    lowest = std::min(lowest, w.mm - kCoverage * w.u_mm);
  }
  seam.throat_u95_mm = std::max(core::expanded_mm(width.u_mm), *seam.throat_mm - lowest);
  seam.throat_at = (throat->on_a + throat->on_b) / 2;
  const bool measured = wall_measured(a, throat->segment_a) && wall_measured(b, throat->segment_b);
  seam.throat_from = measured ? ThroatFrom::walls : ThroatFrom::bevel;
}

FitSeam make_seam(const Shell& shell, const solid::ShellSeam& pair, const solid::MouthSummary& summary) {
  FitSeam seam;
  seam.tiles = {shell.labels[pair.a.value], shell.labels[pair.b.value]};
  seam.length_mm = summary.length_mm;
  seam.tight_length_mm = summary.tight_length_mm;
  seam.at = summary.at;
  for (const solid::MouthSample& m : pair.samples) {
    seam.samples.push_back({m.s_mm, m.width_mm,
                            width_sd(shell.tiles[pair.a], shell.tiles[pair.b], gap_of(m), shell.options),
                            m.on_a, m.on_b});
  }
  const Mouth mouth = mouth_seen(seam);
  if (mouth.narrowest) {
    seam.narrowest_mm = std::max(0.0, mouth.width.mm);  // wood does not pass through wood: they touch
    seam.u95_mm = core::expanded_mm(mouth.width.u_mm);
    seam.at = (mouth.narrowest->a + mouth.narrowest->b) / 2;
    measure_throats(shell, pair, seam);
    put_verdict(seam, mouth, shell.options.smallest_fill_mm);
  }
  seam.map = shell.form.locate(seam.at).uv;
  return seam;
}

}  // namespace

std::vector<FitSeam> measure_seams(const geometry::IndexedVector<geometry::TileIndex, MeasuredTile>& tiles,
                                   const std::vector<std::string>& labels, const geometry::Profile& form,
                                   const SeamOptions& options) {
  Shell shell{tiles, {}, {}, labels, form, options};
  for (const MeasuredTile& tile : tiles) {
    const bool placed = !tile.solid.arris.empty();
    const solid::SolidBody whole = placed ? solid::SolidBody(tile.solid) : solid::SolidBody();
    shell.bodies.push_back(whole);
    shell.kept.push_back(
        !placed || !options.finished_wall
            ? whole
            : solid::SolidBody(solid::kept_part(tile.solid, tile.face_above_mm, *options.finished_wall)));
  }
  const std::vector<solid::ShellSeam> pairs = solid::mouths_of_shell(shell.bodies, {}, options.threads);
  std::vector<std::optional<FitSeam>> found(pairs.size());
  core::parallel_for(pairs.size(), options.threads, [&](std::size_t k) {
    const auto summary = solid::summarise_mouth(pairs[k].samples, options.smallest_fill_mm);
    if (summary && summary->length_mm >= core::kLeastMeasuredSeam_mm)
      found[k] = make_seam(shell, pairs[k], *summary);
  });
  std::vector<FitSeam> seams;
  for (auto& seam : found) {
    if (seam) seams.push_back(std::move(*seam));
  }
  return seams;
}

}  // namespace interstice::seams
