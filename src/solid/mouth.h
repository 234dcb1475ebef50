// Seam geometry between measured pieces: mouth, throat and lengths, as 3-D distances.
//
// Model: a piece is a solid with a plane face bounded by its arris, and walls ruled by straight lines from
// each arris point to its root point. Each wall quad is taken as two triangles, split along arris[i] ->
// root[i + 1]. The underside is open: it lies on the form, where no neighbour can be.
//
// The mouth at an arris point of one piece is the shortest 3-D distance from there to the body (face and
// walls) of the other; a seam's mouth is the smaller of both directions (a's arris to b's body, b's arris to
// a's body). Where solids overlap, the arris point lies inside the other body (or on its face): its width is
// negative, minus the distance to that body's walls.
//
// Units and frame: mm, any one Cartesian frame for all pieces (the bowl frame in this program).
#pragma once

#include <Eigen/Core>
#include <optional>
#include <utility>
#include <vector>

#include "core/verdict.h"
#include "geometry/index.h"
#include "geometry/plane.h"
#include "geometry/profile.h"
#include "solid/wall_bar.h"

namespace interstice::solid {

struct PieceSolid {
  geometry::PlaneFrame face;
  std::vector<Eigen::Vector3d> arris;  // closed, counter-clockwise seen from outside, on the face
  std::vector<Eigen::Vector3d> root;   // the same outline where the walls meet the form, point for point
};

struct Walls {
  double bevel_deg = 0;
  double thickness_mm = 0;  // of the stock
  double smooth_mm = 1.0;   // half width over which the outline's direction is taken, against noise
  std::vector<double> measured_deg = {};  // bevel at each arris point, instead of bevel_deg; empty: none
};
// The root of straight walls cut from flat stock: from each arris point inward by tan(bevel) times the depth,
// down to the form or to the stock's underside, whichever comes first (under a flat piece on a round form the
// walls end a little above the form; the built pieces of the test scans agree with that better than with
// walls that go on). Inward is the outline's normal in the face.
std::vector<Eigen::Vector3d> root_from_bevel(const geometry::PlaneFrame& face,
                                             const std::vector<Eigen::Vector3d>& arris, const Walls& walls,
                                             const geometry::Profile& form);

// What one millimetre off the wall, square to the outline in the face, does to each arris point: a vector in
// the face, inward, mitred at corners so that both edges lose the same.
std::vector<Eigen::Vector3d> inward_steps(const geometry::PlaneFrame& face,
                                          const std::vector<Eigen::Vector3d>& arris, double smooth_mm = 1.0);

// A piece made ready for many distance queries.
class SolidBody {
 public:
  SolidBody() = default;  // empty: an absent or unseen piece; has no distance to anything
  // Throws std::invalid_argument unless arris and root have the same number of points, at least 3, all
  // finite.
  explicit SolidBody(PieceSolid solid);

  struct Nearest {
    Eigen::Vector3d point;    // on the surface
    double distance_mm = 0;   // signed: negative inside, then to the nearest wall
    std::size_t segment = 0;  // of the outline
    double t = 0;             // 0..1 along that segment
    double depth = 0;         // 0 at the arris (and on the face) to 1 at the root
  };
  // Nearest surface point within the limit; a point inside the body counts as near whatever its depth.
  std::optional<Nearest> nearest(const Eigen::Vector3d& p, double limit_mm) const;
  bool inside(const Eigen::Vector3d& p) const;  // the face itself counts as inside

  bool empty() const { return solid_.arris.empty(); }
  const PieceSolid& solid() const { return solid_; }
  const Eigen::Vector3d& centre() const { return centre_; }  // of the bounding sphere
  double radius_mm() const { return radius_; }
  double arc_at(std::size_t segment, double t) const {
    return arc_[segment] + t * (arc_[segment + 1] - arc_[segment]);
  }
  std::pair<std::size_t, double> place_of_arc(double arc_mm) const;  // segment and t; goes round
  double perimeter_mm() const { return arc_.empty() ? 0 : arc_.back(); }
  Eigen::Vector3d arris_at(std::size_t segment, double t) const;
  // Unit, in the face, away from the piece.
  const Eigen::Vector3d& outward(std::size_t segment) const { return outward_[segment]; }

 private:
  struct Ball {
    Eigen::Vector3d centre;
    double radius;
  };
  WallBar bar_of(std::size_t first, std::size_t last) const;
  void search_wall(const Eigen::Vector3d& p, std::size_t segment, Nearest& best) const;
  void search_face(const Eigen::Vector3d& p, Nearest& best) const;

  PieceSolid solid_;
  Eigen::Vector3d centre_{0, 0, 0};
  double radius_ = 0;
  std::vector<double> arc_;               // arc length at each vertex; one more for the whole perimeter
  std::vector<Eigen::Vector3d> outward_;  // by segment
  std::vector<Ball> chunks_;              // bounding balls of runs of wall quads
  std::vector<WallBar> quad_bars_, chunk_bars_;  // closer bounds of wall quads, and of the same runs
  std::vector<Eigen::Vector2d> face_arris_;
  std::vector<Eigen::Vector3d> face_arris3_, face_root3_;  // (x, y, height) in the face's frame
  std::vector<std::pair<double, double>> face_y_;          // of each line from arris to root: least, greatest
};

struct MouthOptions {
  double limit_mm = core::kWidestSeam_mm;
  double step_mm = core::kSeamStep_mm;  // along the seam
};

// The mouth at one place of a seam between pieces a and b.
struct MouthSample {
  double s_mm = 0;          // along the seam, from its first sample; runs with a's arris, against b's
  double width_mm = 0;      // negative: the solids overlap
  int from = 0;             // whose arris the width starts from: 0 = a, 1 = b
  std::size_t segment = 0;  // that arris point: segment and 0..1 along it
  double t = 0;
  std::size_t to_segment = 0;     // and the place on the other body: outline segment, 0..1 along it,
  double to_t = 0, to_depth = 0;  // 0 at the arris to 1 at the root
  Eigen::Vector3d on_a, on_b;     // the two ends of the width
  bool third_nearer = false;      // another piece is nearer to this arris point: the junction begins
};

// The mouth at steps along the seam, where it is at most the limit and the arris looks towards the other
// piece. Of several places in one step the narrowest is kept; the sample at the seam's narrowest place is
// exact (refined along the arris). Sorted by s; empty if the pieces are nowhere within the limit. Swapping a
// and b reverses s and changes no width. s is half the difference of the two pieces' arc lengths, so that
// both directions share it.
std::vector<MouthSample> mouth_along(const SolidBody& a, const SolidBody& b,
                                     const MouthOptions& options = {});
std::vector<MouthSample> mouth_along(const PieceSolid& a, const PieceSolid& b,
                                     const MouthOptions& options = {});

struct MouthSummary {
  double narrowest_mm = 0;
  std::size_t narrowest_sample = 0;
  Eigen::Vector3d at{0, 0, 0};  // middle of the narrowest place
  // Along s, over which the mouth is within the limit and no third piece is nearer: at a free end that goes
  // on round the corners, by half as much as either arris does, until the width reaches the limit.
  double length_mm = 0;
  double tight_length_mm = 0;  // over which it is below the smallest fill
};
// Empty for a seam without samples.
std::optional<MouthSummary> summarise_mouth(const std::vector<MouthSample>& samples, double smallest_fill_mm,
                                            const MouthOptions& options = {});

// Pairs (first < second) whose bounding spheres come within the reach.
std::vector<std::pair<geometry::TileIndex, geometry::TileIndex>> candidate_neighbours(
    const geometry::IndexedVector<geometry::TileIndex, SolidBody>& bodies, double reach_mm);

// All seams of a shell: the candidates that have a mouth within the limit, with junctions marked.
struct ShellSeam {
  geometry::TileIndex a, b;
  std::vector<MouthSample> samples;
};
std::vector<ShellSeam> mouths_of_shell(const geometry::IndexedVector<geometry::TileIndex, SolidBody>& bodies,
                                       const MouthOptions& options = {}, int threads = 1);

}  // namespace interstice::solid
