#include "seams/seams.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

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

// What errors of the photos' positions do to one sample's width: mm2.
double photo_variance(const MeasuredTile& from, const MeasuredTile& to, const solid::MouthSample& m,
                      const SeamOptions& options) {
  if (from.shares.empty() || to.shares.empty()) return 0;
  const std::size_t n = from.shares.size();
  const Vector3d at = (m.on_a + m.on_b) / 2;
  const auto shares = [](const MeasuredTile& tile, std::size_t segment, double t) {
    return &tile.shares[(segment + (t > 0.5 ? 1 : 0)) % tile.shares.size()];
  };
  Vector3d across = m.on_b - m.on_a;
  if (across.norm() < kLeastDirection_mm) {  // touching: across the edge
    const auto& arris = from.solid.arris;
    across = (arris[(m.segment + 1) % n] - arris[m.segment % n]).cross(from.solid.face.normal);
  }
  return options.photos.variance_mm2({at, from.solid.face.normal, shares(from, m.segment, m.t)},
                                     {at, to.solid.face.normal, shares(to, m.to_segment, m.to_t)},
                                     across.normalized());
}

// The uncertainty of one sample's width; negative when one of its edges was not seen.
double width_sd(const MeasuredTile& a, const MeasuredTile& b, const solid::MouthSample& m,
                const SeamOptions& options) {
  const MeasuredTile& from = m.from == 0 ? a : b;
  const MeasuredTile& to = m.from == 0 ? b : a;
  const double s1 = sd_at(from, m.segment, m.t), s2 = sd_at(to, m.to_segment, m.to_t);
  const Vector3d a_to_b = (m.on_b - m.on_a).normalized();
  const Vector3d across = m.from == 0 ? a_to_b : Vector3d(-a_to_b);
  const double edges =
      edge_variance(from, m.segment, m.t, across) + edge_variance(to, m.to_segment, m.to_t, -across);
  const double scale = options.scale_sd * m.width_mm;
  const Vector3d& on_wall = m.from == 0 ? m.on_b : m.on_a;
  const double wall = bevel_sd(to, m.to_segment) * std::max(0.0, -to.solid.face.height(on_wall));
  // The same way on both edges, outward or inward: added before it is squared (JCGM 100, 5.2.2). Uniform.
  const double shared =
      (shared_error(from, m.segment, m.t) + shared_error(to, m.to_segment, m.to_t)) / std::sqrt(3.0);
  const double sd =
      std::sqrt(edges + wall * wall + scale * scale + shared * shared + photo_variance(from, to, m, options));
  return s1 < 0 || s2 < 0 ? -sd : sd;
}

// Narrowest width seen, its uncertainty and the verdict; false when no place of the seam was seen. A stretch
// nobody saw may hide a narrower place than the narrowest seen: then the uncertainty reaches down to it.
bool judge(FitSeam& seam, const SeamOptions& options) {
  const SeamSample* narrowest = nullptr;
  double lowest = std::numeric_limits<double>::infinity();
  for (const SeamSample& s : seam.samples) {
    if (s.sd_mm >= 0 && (!narrowest || s.width_mm < narrowest->width_mm)) narrowest = &s;
    if (s.sd_mm < 0) lowest = std::min(lowest, s.width_mm - kCoverage * std::max(kUnseenSd_mm, -s.sd_mm));
  }
  if (!narrowest) return false;
  const double sd = std::max(narrowest->sd_mm, (narrowest->width_mm - lowest) / kCoverage);
  seam.narrowest_mm = std::max(0.0, narrowest->width_mm);  // wood does not pass through wood: they touch
  seam.u95_mm = core::expanded_mm(sd);
  seam.at = (narrowest->a + narrowest->b) / 2;
  seam.verdict = core::judge({narrowest->width_mm, sd}, options.smallest_fill_mm);
  // What is tight where it was seen is tight, whatever the rest hides.
  if (core::proved_narrow({narrowest->width_mm, narrowest->sd_mm}, options.smallest_fill_mm))
    seam.verdict = Verdict::too_tight;
  return true;
}

FitSeam make_seam(const solid::ShellSeam& shell,
                  const geometry::IndexedVector<geometry::TileIndex, MeasuredTile>& tiles,
                  const geometry::IndexedVector<geometry::TileIndex, solid::SolidBody>& bodies,
                  const std::vector<std::string>& labels, const solid::MouthSummary& summary,
                  const geometry::Profile& form, const SeamOptions& options) {
  const MeasuredTile &a = tiles[shell.a], &b = tiles[shell.b];
  FitSeam seam;
  seam.tiles = {labels[shell.a.value], labels[shell.b.value]};
  seam.length_mm = summary.length_mm;
  seam.tight_length_mm = summary.tight_length_mm;
  seam.at = summary.at;
  for (const solid::MouthSample& m : shell.samples) {
    seam.samples.push_back({m.s_mm, m.width_mm, width_sd(a, b, m, options), m.on_a, m.on_b});
  }
  const bool seen = judge(seam, options);
  seam.map = form.locate(seam.at).uv;
  if (!seen) return seam;
  // Searched at other places than the mouth: never wider than it.
  if (const auto throat = solid::throat_of(bodies[shell.a], bodies[shell.b])) {
    seam.throat_mm = std::clamp(throat->width_mm, 0.0, *seam.narrowest_mm);
    const bool measured = wall_measured(a, throat->segment_a) && wall_measured(b, throat->segment_b);
    seam.throat_from = measured ? ThroatFrom::walls : ThroatFrom::bevel;
  }
  return seam;
}

}  // namespace

std::vector<FitSeam> measure_seams(const geometry::IndexedVector<geometry::TileIndex, MeasuredTile>& tiles,
                                   const std::vector<std::string>& labels, const geometry::Profile& form,
                                   const SeamOptions& options) {
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  for (const MeasuredTile& tile : tiles) {
    bodies.push_back(tile.solid.arris.empty() ? solid::SolidBody() : solid::SolidBody(tile.solid));
  }
  std::vector<FitSeam> seams;
  for (const solid::ShellSeam& shell : solid::mouths_of_shell(bodies, {}, options.threads)) {
    const auto summary = solid::summarise_mouth(shell.samples, options.smallest_fill_mm);
    if (!summary || summary->length_mm < core::kLeastMeasuredSeam_mm) continue;
    seams.push_back(make_seam(shell, tiles, bodies, labels, *summary, form, options));
  }
  return seams;
}

}  // namespace interstice::seams
