#include "edges/wall_foot.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "core/parallel.h"
#include "edges/wall_slope.h"
#include "geometry/cyclic_runs.h"

namespace interstice::edges {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kNeighbour_mm = 9.0;      // the widest seam and a step of the outline
constexpr double kStretch_mm = 3.0;        // over which a wall is straight and its foot seen as one
constexpr double kStraightCosine = 0.985;  // 10 degrees: of the outline within a stretch
constexpr double kFootCosine = 0.25;       // views flatter than this see the face as a few pixels
// Slopes of views over the wall's own. Below, the wall's roughness hides its foot; above, the foot's depth
// decides where it is seen, and the bevel no longer.
constexpr double kLeastOver = 0.04, kMostOver = 0.8;
constexpr double kProfileStep_mm = 0.05;  // of a profile
constexpr double kLeastStrip_px = 3;
constexpr double kLeastBox_mm = 0.2, kBox_px = 1.2;  // means on either side of a step: beyond the blur
constexpr double kLeastRise = 10;                    // grey levels: weaker ones are shades on the wall
constexpr double kLeastShare = 0.3;                  // of the strongest rise
constexpr std::size_t kMostCandidates = 4;
// Half the blur and the arris' own uncertainty; the form's shade ends within some hundredths.
constexpr double kPlaceSd_px = 0.25, kPlaceSd_mm = 0.08;
// A line drawn on the form lies within 0.3 mm of the plan and is up to 0.7 mm wide (common practice, no
// source); its far side is a rise like a foot's.
constexpr double kLineBefore_mm = 0.3, kLineBehind_mm = 1.0;
constexpr double kFootLevel_mm = 0.2, kFootMargin_mm = 0.2;  // pieces in the way, as for the arris

struct Column {
  Vector3d at, outward;
};

struct FootStretch {
  std::vector<Column> columns;
  std::size_t at = 0;  // of the side's points, in the middle
  double depth_mm = 0;
  std::vector<Vector3d> lines;  // nearest points of planned outlines on the form
};

struct Walled {
  const scan::Scan& scan;
  const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures;
  const geometry::Profile& form;
  const plan::Plan& plan;
  const geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid>& pieces;
  Occluders occluders;
  double wall = 0;  // tan of the planned bevel
};

// The piece each arris point faces; its own index where there is none.
std::vector<std::size_t> faced(const geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid>& pieces,
                               std::size_t own) {
  const std::vector<Vector3d>& arris = pieces[geometry::TileIndex(own)].arris;
  std::vector<std::size_t> out(arris.size(), own);
  std::vector<double> nearest(arris.size(), kNeighbour_mm * kNeighbour_mm);
  for (std::size_t k = 0; k < pieces.size(); ++k) {
    if (k == own) continue;
    for (const Vector3d& q : pieces[geometry::TileIndex(k)].arris) {
      if ((q - arris.front()).squaredNorm() > 1e5) break;  // no piece is 300 mm long
      for (std::size_t i = 0; i < arris.size(); ++i) {
        const double d = (q - arris[i]).squaredNorm();
        if (d < nearest[i]) nearest[i] = d, out[i] = k;
      }
    }
  }
  return out;
}

// Runs of points that face the same piece, going round; one run of all points if there is but one.
std::vector<WallSide> sides_of(const std::vector<std::size_t>& faces, std::size_t own) {
  std::vector<WallSide> out;
  for (const auto& run : geometry::cyclic_runs(faces)) {
    out.emplace_back();
    if (run.value != own) out.back().faces = geometry::TileIndex(run.value);
    for (std::size_t k = 0; k < run.count; ++k) out.back().points.push_back((run.first + k) % faces.size());
  }
  return out;
}

Vector2d nearest_on(const geometry::Polygon& outline, const Vector2d& p) {
  Vector2d best = outline.front();
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vector2d a = outline[i], d = outline[(i + 1) % outline.size()] - a;
    const double t = std::clamp((p - a).dot(d) / std::max(1e-12, d.squaredNorm()), 0.0, 1.0);
    if ((a + t * d - p).squaredNorm() < (best - p).squaredNorm()) best = a + t * d;
  }
  return best;
}

// Depth of the form along the wall, and the lines that may be drawn near there: the piece's own and the
// nearest other.
void set_ground(const Walled& w, std::size_t own, FootStretch& stretch) {
  const geometry::PlaneFrame& face = w.pieces[geometry::TileIndex(own)].face;
  const Column& middle = stretch.columns[stretch.columns.size() / 2];
  const Vector3d down = -(face.normal + w.wall * middle.outward);
  for (int round = 0; round < 8; ++round)
    stretch.depth_mm += w.form.locate(middle.at + stretch.depth_mm * down).height;
  const Vector2d foot = w.form.locate(middle.at + stretch.depth_mm * down).uv;
  Vector2d other(1e9, 1e9);
  for (std::size_t k = 0; k < w.plan.tiles.size(); ++k) {
    const Vector2d p = nearest_on(w.plan.tiles[geometry::TileIndex(k)].outline, foot);
    if (k == own) {
      stretch.lines.push_back(w.form.point(p));
    } else if ((p - foot).squaredNorm() < (other - foot).squaredNorm()) {
      other = p;
    }
  }
  if (other.x() < 1e9) stretch.lines.push_back(w.form.point(other));
}

// Straight stretches of a side; what is bent is left out.
std::vector<FootStretch> stretches_of(const Walled& w, std::size_t own, const WallSide& side,
                                      const std::vector<Vector3d>& inward) {
  const std::vector<Vector3d>& arris = w.pieces[geometry::TileIndex(own)].arris;
  std::vector<FootStretch> out;
  FootStretch now;
  double length = 0;
  std::size_t first = 0;  // of the side's points
  for (std::size_t k = 0; k + 1 < side.points.size(); ++k) {
    const std::size_t i = side.points[k], j = side.points[k + 1];
    for (const double t : {0.25, 0.75}) {
      const Vector3d outward = -(inward[i] + t * (inward[j] - inward[i])).normalized();
      if (!now.columns.empty() && outward.dot(now.columns.front().outward) < kStraightCosine)
        now = {}, length = 0, first = k;
      now.columns.push_back({arris[i] + t * (arris[j] - arris[i]), outward});
    }
    length += (arris[j] - arris[i]).norm();
    if (length < kStretch_mm) continue;
    set_ground(w, own, now);
    now.at = (first + k + 1) / 2;
    if (now.depth_mm > 0) out.push_back(std::move(now));
    now = {}, length = 0, first = k + 1;
  }
  return out;
}

// The part of a photo's profile across the foot: from first_mm outward of the arris, as if at `slope`.
struct Window {
  double half_mm = 0, box_mm = 0;
  std::size_t count = 0;
};

// Brightness of one column about the foot; false where it does not show all of it.
bool read_column(const Walled& w, std::size_t own, const FootStretch& stretch, const Column& column,
                 geometry::PhotoIndex p, const Window& window, std::vector<double>& sum, double& slope) {
  const scan::ScannedPhoto& photo = w.scan.photos[p];
  const Vector3d& normal = w.pieces[geometry::TileIndex(own)].face.normal;
  const Vector3d camera = photo.centre(), to_camera = camera - column.at;
  const double up = to_camera.dot(normal), over = to_camera.dot(column.outward) / up - w.wall;
  if (up < kFootCosine * to_camera.norm() || over < kLeastOver) return false;
  const auto place = [&](double offset) -> Vector3d {
    return column.at - offset / over * (normal + w.wall * column.outward);
  };
  const double first = stretch.depth_mm * over - window.half_mm;
  const double last = first + kProfileStep_mm * static_cast<double>(window.count);
  if (first <= 0) return false;
  constexpr double kLook_mm = 0.3;
  for (double x = first; x < last + kLook_mm; x += kLook_mm) {
    if (w.occluders.hidden(place(std::min(x, last)), camera, own, kFootLevel_mm)) return false;
  }
  std::vector<double> values(window.count);
  for (std::size_t k = 0; k < window.count; ++k) {
    const Vector2d q =
        w.pictures[p].from_photo(photo.project(place(first + static_cast<double>(k) * kProfileStep_mm)));
    values[k] = static_cast<double>(surface::sample(w.pictures[p].grey, q.x(), q.y()));
    if (!std::isfinite(values[k])) return false;
  }
  for (std::size_t k = 0; k < window.count; ++k) sum[k] += values[k];
  slope += over + w.wall;
  return true;
}

// Places of rises in a mean profile, strongest first: (offset from its start, size in grey levels).
std::vector<std::pair<double, double>> rises(const std::vector<double>& profile, double box_mm) {
  const auto box = static_cast<std::size_t>(std::lround(box_mm / kProfileStep_mm));
  std::vector<double> step(profile.size(), 0), sums(profile.size() + 1, 0);
  for (std::size_t k = 0; k < profile.size(); ++k) sums[k + 1] = sums[k] + profile[k];
  double most = 0;
  for (std::size_t k = box; k + box <= profile.size(); ++k) {
    step[k] = (sums[k + box] - 2 * sums[k] + sums[k - box]) / static_cast<double>(box);
    most = std::max(most, step[k]);
  }
  std::vector<std::pair<double, double>> out;
  for (std::size_t k = box + 1; k + box < profile.size(); ++k) {
    if (step[k] < std::max(kLeastRise, kLeastShare * most) || step[k] < step[k - 1] || step[k] <= step[k + 1])
      continue;
    const double bend = step[k - 1] - 2 * step[k] + step[k + 1];
    const double off = bend < 0 ? 0.5 * (step[k - 1] - step[k + 1]) / bend : 0;
    out.emplace_back((static_cast<double>(k) - 0.5 + off) * kProfileStep_mm, step[k]);
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
  if (out.size() > kMostCandidates) out.resize(kMostCandidates);
  return out;
}

bool on_a_line(const FootStretch& stretch, const Vector3d& normal, double slope, double offset) {
  const Column& middle = stretch.columns[stretch.columns.size() / 2];
  return std::any_of(stretch.lines.begin(), stretch.lines.end(), [&](const Vector3d& line) {
    const Vector3d d = line - middle.at;
    const double past = offset - (d.dot(middle.outward) - slope * d.dot(normal));
    return past > -kLineBefore_mm && past < kLineBehind_mm;
  });
}

// How far from where it is expected a foot is looked for: three standard deviations of bevel and depth.
double reach_mm(double depth, double over, double footprint) {
  return 3 * std::hypot(kPlannedBevelSd_rad * depth, over * kFootDepthSd_mm) + 1.5 * footprint;
}

std::optional<FootReading> read_foot(const Walled& w, std::size_t own, const FootStretch& stretch,
                                     geometry::PhotoIndex p) {
  const Vector3d& normal = w.pieces[geometry::TileIndex(own)].face.normal;
  const Column& middle = stretch.columns[stretch.columns.size() / 2];
  const Vector3d to_camera = w.scan.photos[p].centre() - middle.at;
  const double cosine = to_camera.normalized().dot(normal);
  if (cosine < kFootCosine) return std::nullopt;
  const double over = to_camera.dot(middle.outward) / to_camera.dot(normal) - w.wall;
  if (over < kLeastOver || over > kMostOver) return std::nullopt;
  const double footprint = w.scan.quality.pixel_footprint_mm, expected = stretch.depth_mm * over;
  if (expected * cosine < kLeastStrip_px * footprint) return std::nullopt;
  Window window;
  window.box_mm = std::max(kLeastBox_mm, kBox_px * footprint / cosine);
  // Never as far as the arris, which is a step itself.
  window.half_mm = std::min(0.7 * expected, reach_mm(stretch.depth_mm, over, footprint)) + window.box_mm;
  window.count = static_cast<std::size_t>(2 * window.half_mm / kProfileStep_mm) + 1;
  std::vector<double> sum(window.count, 0);
  double slope = 0;
  std::size_t seen = 0;
  for (const Column& column : stretch.columns)
    seen += read_column(w, own, stretch, column, p, window, sum, slope) ? 1 : 0;
  if (2 * seen < stretch.columns.size()) return std::nullopt;
  for (double& x : sum) x /= static_cast<double>(seen);
  FootReading out;
  out.photo = p;
  out.slope = slope / static_cast<double>(seen);
  out.depth_mm = stretch.depth_mm;
  out.at = stretch.at;
  out.sd_mm = std::hypot(kPlaceSd_mm, kPlaceSd_px * footprint / cosine);
  const double first = stretch.depth_mm * (out.slope - w.wall) - window.half_mm;
  for (const auto& [offset, size] : rises(sum, window.box_mm)) {
    if (!on_a_line(stretch, normal, out.slope, first + offset)) out.offsets_mm.push_back(first + offset);
  }
  if (out.offsets_mm.empty()) return std::nullopt;
  return out;
}

}  // namespace

geometry::IndexedVector<geometry::TileIndex, std::vector<WallSide>> read_wall_feet(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::Profile& form, const plan::Plan& plan,
    const geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid>& pieces, int threads) {
  Walled w{scan, pictures, form, plan, pieces, {}, std::tan(plan.bevel_deg * std::numbers::pi / 180)};
  for (const solid::PieceSolid& piece : pieces) {
    if (piece.arris.empty()) {
      w.occluders.add_none();
      continue;
    }
    geometry::Polygon outline;
    for (const Vector3d& p : piece.arris) outline.push_back(piece.face.drop(p));
    w.occluders.add(piece.face, outline, kFootMargin_mm + scan.quality.pixel_footprint_mm);
  }
  geometry::IndexedVector<geometry::TileIndex, std::vector<WallSide>> out(pieces.size());
  core::parallel_for(pieces.size(), threads, [&](std::size_t own) {
    const solid::PieceSolid& piece = pieces[geometry::TileIndex(own)];
    if (piece.arris.empty()) return;
    std::vector<WallSide> sides = sides_of(faced(pieces, own), own);
    const std::vector<Vector3d> inward = solid::inward_steps(piece.face, piece.arris);
    for (WallSide& side : sides) {
      for (const FootStretch& stretch : stretches_of(w, own, side, inward)) {
        for (std::size_t p = 0; p < scan.photos.size(); ++p) {
          if (auto reading = read_foot(w, own, stretch, geometry::PhotoIndex(p)))
            side.readings.push_back(std::move(*reading));
        }
      }
    }
    out[geometry::TileIndex(own)] = std::move(sides);
  });
  return out;
}

}  // namespace interstice::edges
