#include "refill/registration.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "edges/outline_registration.h"

namespace interstice::refill {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kNear_mm = 1.0;     // a piece within this of its place is the piece looked for
constexpr double kHuber_mm = 0.15;   // what a single piece's placement is off by, about
constexpr double kLeastShare = 0.6;  // of the pieces seen must be found there: some may be badly seen
// Of all pieces that were there. A few outlines that are another shell's agree with seven numbers of a similarity by chance.
constexpr double kLeastOfAll = 0.4;
constexpr double kMostScale = 0.05;  // two prints of the cards differ by less (common practice, no source)

// A point of a piece, the two directions in its face, and where it is seen, mm.
struct Sighting {
  Vector3d dry, now, ex, ey;
  std::size_t piece = 0;
};

struct Reach {
  double shift_mm, turn_deg;
};

geometry::PlaneFrame moved(const geometry::PlaneFrame& f, const Registration& r) {
  geometry::PlaneFrame out;
  out.origin = r.now_T_dry * (r.scale * f.origin);
  out.ex = r.now_T_dry.rotation() * f.ex;
  out.ey = r.now_T_dry.rotation() * f.ey;
  out.normal = r.now_T_dry.rotation() * f.normal;
  return out;
}

// Four points of a piece's face and where the photos show them, starting from a registration.
std::vector<Sighting> sight(const scan::Scan& scan, const Pictures& pictures, const seams::FitTile& tile,
                            std::size_t piece, const Registration& from, const Reach& reach) {
  std::vector<Sighting> out;
  if (tile.state != plan::TileState::placed || tile.arris.size() < 3) return out;
  geometry::Polygon outline;
  for (const Vector3d& p : tile.arris) outline.push_back(from.scale * tile.face.drop(p));
  const geometry::PlaneFrame frame = moved(tile.face, from);
  edges::PlaceOptions options;
  options.shift_mm = reach.shift_mm;
  options.turn_deg = reach.turn_deg;
  options.growth_mm = 0.3;
  options.path_mm = 0.4;
  options.spacing_mm = 3.0;
  const edges::PlacedOutline placed = edges::place_outline(scan, pictures, frame, outline, options);
  if (!(placed.support > 0)) return out;
  const Vector2d centre = geometry::centroid(outline);
  const Eigen::Rotation2Dd turn(placed.turn);
  const double arm = 0.25 * geometry::perimeter(outline) / 2;
  for (const Vector2d& d : {Vector2d(arm, 0), Vector2d(-arm, 0), Vector2d(0, arm), Vector2d(0, -arm)}) {
    out.push_back({tile.face.lift((centre + d) / from.scale), frame.lift(centre + placed.shift + turn * d),
                   frame.ex, frame.ey, piece});
  }
  return out;
}

// How far each piece lies from where the registration puts it, in its face; median over its points.
std::vector<std::optional<double>> piece_residuals(const std::vector<Sighting>& sightings, std::size_t pieces,
                                                   const Registration& r) {
  std::vector<std::vector<double>> of(pieces);
  for (const Sighting& s : sightings) {
    const Vector3d e = r.now_T_dry * (r.scale * s.dry) - s.now;
    of[s.piece].push_back(std::hypot(e.dot(s.ex), e.dot(s.ey)));
  }
  std::vector<std::optional<double>> out(pieces);
  for (std::size_t i = 0; i < pieces; ++i) {
    if (!of[i].empty()) out[i] = core::median(of[i]);
  }
  return out;
}

// One Gauss-Newton step of rotation, shift and scale.
void improve(const std::vector<Sighting>& sightings, const std::vector<std::optional<double>>& residuals,
             Registration& r) {
  Eigen::Matrix<double, 7, 7> normal = Eigen::Matrix<double, 7, 7>::Zero();
  Eigen::Matrix<double, 7, 1> right = Eigen::Matrix<double, 7, 1>::Zero();
  for (const Sighting& s : sightings) {
    const double off = residuals[s.piece].value_or(1e9);
    const double w = off <= kHuber_mm ? 1 : kHuber_mm / off;
    const Vector3d at = r.now_T_dry * (r.scale * s.dry);
    const Vector3d arm = at - r.now_T_dry.translation();
    for (const Vector3d& e : {s.ex, s.ey}) {
      Eigen::Matrix<double, 7, 1> row;
      row << arm.cross(e), e, arm.dot(e);
      normal += w * row * row.transpose();
      right += w * row * e.dot(s.now - at);
    }
  }
  normal.diagonal().array() += 1e-9;
  const Eigen::Matrix<double, 7, 1> x = normal.ldlt().solve(right);
  const Vector3d turn = x.head<3>();
  const double angle = turn.norm();
  const Eigen::Matrix3d by = angle > 0 ? Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix()
                                       : Eigen::Matrix3d(Eigen::Matrix3d::Identity());
  Eigen::Isometry3d next = Eigen::Isometry3d::Identity();
  next.linear() = by * r.now_T_dry.rotation();
  next.translation() = r.now_T_dry.translation() + Vector3d(x.segment<3>(3));
  r.now_T_dry = next;
  r.scale *= 1 + x[6];
}

std::vector<std::size_t> all_of(const seams::FitDocument& dry) {
  std::vector<std::size_t> out(dry.tiles.size());
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = i;
  return out;
}

std::vector<Sighting> sight_all(const scan::Scan& scan, const Pictures& pictures,
                                const seams::FitDocument& dry, const std::vector<std::size_t>& pieces,
                                const Registration& from, const Reach& reach, int threads) {
  std::vector<std::vector<Sighting>> of(pieces.size());
  core::parallel_for(pieces.size(), threads, [&](std::size_t k) {
    of[k] = sight(scan, pictures, dry.tiles[pieces[k]], pieces[k], from, reach);
  });
  std::vector<Sighting> all;
  for (const auto& s : of) all.insert(all.end(), s.begin(), s.end());
  return all;
}

void count_agreeing(const std::vector<std::optional<double>>& residuals, Registration& r) {
  r.pieces = r.agreeing = 0;
  for (const auto& off : residuals) {
    r.pieces += off ? 1 : 0;
    r.agreeing += off && *off < kNear_mm ? 1 : 0;
  }
}

// The registration that these sightings give, and what single pieces are off by then.
std::vector<std::optional<double>> improve_by(const std::vector<Sighting>& seen, std::size_t pieces,
                                              Registration& r) {
  std::vector<std::optional<double>> residuals;
  for (int round = 0; round < 30; ++round) {
    residuals = piece_residuals(seen, pieces, r);
    improve(seen, residuals, r);
  }
  return piece_residuals(seen, pieces, r);
}

// Far first: the form's seat and the pattern's turn are found anew in each scan, to about a millimetre.
constexpr Reach kFar{3.0, 2.0}, kFine{0.75, 0.75};
constexpr std::size_t kLeastSightings = 16;  // of four pieces

}  // namespace

std::optional<Registration> first_look(const scan::Scan& scan, const Pictures& pictures,
                                       const seams::FitDocument& dry, std::size_t most, int threads) {
  std::vector<std::size_t> placed;
  for (std::size_t i = 0; i < dry.tiles.size(); ++i) {
    if (dry.tiles[i].state == plan::TileState::placed) placed.push_back(i);
  }
  std::vector<std::size_t> some;
  const std::size_t n = std::min(most, placed.size());
  for (std::size_t k = 0; k < n; ++k) some.push_back(placed[k * placed.size() / n]);
  Registration r;
  const std::vector<Sighting> seen = sight_all(scan, pictures, dry, some, r, kFar, threads);
  if (seen.size() < kLeastSightings) return std::nullopt;
  r.looked_for = some.size();
  count_agreeing(improve_by(seen, dry.tiles.size(), r), r);
  return r;
}

bool found_again(const Registration& r) {
  const auto agreeing = static_cast<double>(r.agreeing);
  return agreeing >= kLeastShare * static_cast<double>(r.pieces) &&
         agreeing >= kLeastOfAll * static_cast<double>(r.looked_for) && std::abs(r.scale - 1) < kMostScale;
}

Registration register_to_dry(const scan::Scan& scan, const Pictures& pictures, const seams::FitDocument& dry,
                             int threads) {
  Registration r;
  for (const seams::FitTile& tile : dry.tiles) r.looked_for += tile.state == plan::TileState::placed ? 1 : 0;
  std::vector<std::optional<double>> residuals;
  for (const Reach& reach : {kFar, kFine}) {
    const std::vector<Sighting> seen = sight_all(scan, pictures, dry, all_of(dry), r, reach, threads);
    if (seen.size() < kLeastSightings)
      throw core::MeasureError(
          "too few pieces are seen; photograph the shell from all round, also from above");
    residuals = improve_by(seen, dry.tiles.size(), r);
    // Another shell's pieces lie anywhere within the far search.
    if (r.pieces == 0) count_agreeing(residuals, r);
  }
  std::vector<double> known;
  for (const auto& off : residuals) {
    if (off) known.push_back(*off);
  }
  r.residual_mm = core::median(known);
  // Looked for so near, another shell's pieces lie anywhere: their median is four fifths of the reach.
  if (!found_again(r) || r.residual_mm > kFine.shift_mm / 2) {
    throw core::MeasureError("the pieces were not found where the earlier result has them (" +
                             std::to_string(r.agreeing) + " of " + std::to_string(r.looked_for) +
                             " lie near there): give the photos and the result of the same shell");
  }
  return r;
}

scan::Scan in_dry_frame(scan::Scan scan, const Registration& r) {
  for (scan::ScannedPhoto& photo : scan.photos) {
    const Eigen::Isometry3d camera_T_dry = photo.camera_T_bowl * r.now_T_dry;
    photo.camera_T_bowl.linear() = camera_T_dry.rotation();
    photo.camera_T_bowl.translation() = camera_T_dry.translation() / r.scale;
  }
  const Eigen::Isometry3d dry_T_now = r.now_T_dry.inverse();
  for (Vector3d& p : scan.points) p = (dry_T_now * p) / r.scale;
  return scan;
}

}  // namespace interstice::refill
