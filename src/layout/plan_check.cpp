#include "layout/plan_check.h"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "geometry/form_surface.h"
#include "geometry/region.h"
#include "layout/cell_complex.h"
#include "layout/nesting.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

double spread(const std::vector<double>& values) {
  double mean = 0, square = 0;
  for (const double v : values) mean += v / static_cast<double>(values.size());
  for (const double v : values) square += (v - mean) * (v - mean) / static_cast<double>(values.size());
  return mean > 0 ? std::sqrt(square) / mean : 0;
}

void check_seams(const plan::Plan& plan, PlanCheck& check) {
  const double fill = plan.smallest_fill_mm;
  if (check.seams.empty()) return;
  check.narrowest_mouth_mm = check.widest_mouth_mm = check.seams[0].mouth_mm;
  for (const solid::PlannedSeam& seam : check.seams) {
    check.narrowest_mouth_mm = std::min(check.narrowest_mouth_mm, seam.mouth_mm);
    check.widest_mouth_mm = std::max(check.widest_mouth_mm, seam.mouth_mm);
    const std::string &a = plan.tiles[seam.a].label, &b = plan.tiles[seam.b].label;
    if (seam.mouth_mm < 0 || seam.throat_mm < 0) {
      check.findings.push_back({CheckFinding::Kind::overlap,
                                fmt::format("{} and {} overlap: redraw the line between them", a, b)});
    } else if (seam.mouth_mm < fill - 1e-6) {
      check.findings.push_back(
          {CheckFinding::Kind::narrow_mouth,
           fmt::format(
               "{} and {}: the mouth is planned {:.2f} mm wide, under the smallest fill of {:.2f} mm: "
               "move the line or trim an edge",
               a, b, seam.mouth_mm, fill)});
    } else if (seam.throat_mm < fill - 1e-6) {
      check.findings.push_back(
          {CheckFinding::Kind::narrow_throat,
           fmt::format(
               "{} and {}: behind a mouth that is wide enough the walls come within {:.2f} mm (smallest "
               "fill {:.2f} mm): cut a steeper bevel",
               a, b, seam.throat_mm, fill)});
    }
  }
}

void check_pieces(const plan::Plan& plan, const std::vector<solid::PieceGeometry>& pieces,
                  const CheckLimits& limits, PlanCheck& check) {
  std::vector<double> faces, footprints;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const solid::PieceGeometry& piece = pieces[i];
    const std::string& label = plan.tiles[geometry::TileIndex(i)].label;
    faces.push_back(piece.face_area_mm2), footprints.push_back(piece.drawn_area_mm2);
    check.mean_face_mm2 += piece.face_area_mm2 / static_cast<double>(pieces.size());
    if (piece.inscribed_mm < limits.smallest_piece_mm) {
      check.findings.push_back(
          {CheckFinding::Kind::small_piece,
           fmt::format(
               "{} is only {:.1f} mm across (limit {:.1f} mm), hard to hold at a saw: join it to a neighbour",
               label, piece.inscribed_mm, limits.smallest_piece_mm)});
    }
    if (std::abs(piece.rocking_gap_mm) > limits.largest_rocking_mm) {
      check.findings.push_back({CheckFinding::Kind::rocking,
                                piece.rocking_gap_mm > 0
                                    ? fmt::format("{}: its flat back stands {:.1f} mm off the form at the "
                                                  "edge (limit {:.1f} mm): hollow the "
                                                  "back or plan smaller pieces",
                                                  label, piece.rocking_gap_mm, limits.largest_rocking_mm)
                                    : fmt::format("{} rocks: the form rises {:.1f} mm into its flat back "
                                                  "(limit {:.1f} mm): hollow the back "
                                                  "or plan smaller pieces",
                                                  label, -piece.rocking_gap_mm, limits.largest_rocking_mm)});
    }
  }
  check.face_spread = spread(faces), check.footprint_spread = spread(footprints);
}

// Between the whole form and the surface raised by the thickness, less the pieces: Simpson's rule over the
// depth, every piece's section carried along the form's normals.
void measure_volume(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                    const std::vector<solid::PieceGeometry>& pieces, PlanCheck& check) {
  const double t = plan.tile_thickness_mm;
  double gap[3] = {0, 0, 0};  // mm^2 at the form, half way, at the faces
  for (int level = 0; level < 3; ++level) {
    const double height = t * level / 2;
    const geometry::Profile raised =
        plan.profile.offset(std::vector<double>(plan.profile.points().size(), height));
    const double stretch = raised.length() / plan.profile.length();
    double area = geometry::surface_area(raised);
    for (const solid::PieceBody& body : bodies) {
      geometry::Polygon section;
      for (std::size_t i = 0; i < body.arris.size(); ++i) {
        const Vector3d p = body.root[i] + (body.arris[i] - body.root[i]) * (level / 2.0);
        section.push_back(plan.profile.locate(p).uv * stretch);
      }
      area -= geometry::surface_area(raised, section);
    }
    gap[level] = std::max(0.0, area);
  }
  check.seam_volume_ml = t / 6 * (gap[0] + 4 * gap[1] + gap[2]) / 1000;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    // A paraboloid's mean depth is half its depth at the edge; the edge's own mean is taken over the outline.
    double mean = 0;
    for (const Vector3d& p : bodies[i].root)
      mean += plan.profile.locate(p).height / static_cast<double>(bodies[i].root.size());
    check.bed_volume_ml += std::max(0.0, mean) / 2 * pieces[i].drawn_area_mm2 / 1000;
  }
}

// The longest stretch of a ring, at any height of the form, that no face covers: there a seam keeps its
// height. In mm on the form.
double longest_level_run_mm(const plan::Plan& plan) {
  constexpr int kAround = 1440;
  double longest = 0;
  const double length = plan.profile.length();
  std::vector<std::pair<double, double>> reach;  // rho of each tile
  double last = length - plan.planned_gap_mm;    // under a flared rim faces end above it: that is no seam
  std::vector<geometry::Polygon> faces;  // carried down along the form's normals: what is seen of the pieces
  for (std::size_t i = 0; i < plan.tiles.size(); ++i) {
    const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(i));
    geometry::Polygon outline;
    for (const Vector2d& p : geometry::resampled(face.outline, 1.0))
      outline.push_back(plan.profile.locate(face.frame.lift(p)).uv);
    double low = 1e9, high = 0;
    for (const Vector2d& p : outline) low = std::min(low, p.norm()), high = std::max(high, p.norm());
    reach.emplace_back(low, high);
    faces.push_back(std::move(outline));
    if (plan.tiles[geometry::TileIndex(i)].ring == 1) last = std::min(last, high);
  }
  for (double rho = 0.15 * length; rho < last - 2; rho += 2.0) {
    std::vector<char> bare(kAround, 1);
    for (std::size_t i = 0; i < reach.size(); ++i) {
      if (rho < reach[i].first || rho > reach[i].second) continue;
      const geometry::Polygon& outline = faces[i];
      const Vector2d c = geometry::centroid(outline);
      for (int k = 0; k < kAround; ++k) {
        const double theta = 2 * std::numbers::pi * k / kAround;
        const Vector2d p = rho * Vector2d(std::cos(theta), std::sin(theta));
        if ((p - c).norm() < 2 * reach[i].second && bare[static_cast<std::size_t>(k)] &&
            geometry::contains(outline, p)) {
          bare[static_cast<std::size_t>(k)] = 0;
        }
      }
    }
    int run = 0, best = 0;
    for (int k = 0; k < 2 * kAround; ++k) {
      run = bare[static_cast<std::size_t>(k % kAround)] ? run + 1 : 0;
      best = std::max(best, std::min(run, kAround));
    }
    longest = std::max(longest, 2 * std::numbers::pi * plan.profile.at(rho).rz.x() * best / kAround);
  }
  return longest;
}

void measure_stock(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                   const CheckLimits& limits, PlanCheck& check) {
  std::vector<geometry::Polygon> outlines;
  double area = 0;
  for (const solid::PieceBody& body : bodies) {
    area += geometry::signed_area(body.face.outline);
    geometry::Polygon outline;
    for (const Vector2d& p : body.face.outline) outline.emplace_back(p.x(), -p.y());
    outlines.push_back(std::move(outline));
  }
  NestingOptions options;  // the board's length downwards, so that it is used up from one end
  options.width_mm = limits.board_width_mm, options.height_mm = limits.board_length_mm;
  options.spacing_mm = limits.kerf_mm + 4;
  options.keep_grain = true;
  const Nesting nesting = nest(outlines, options);
  check.boards = nesting.sheets;
  double used = 0;
  for (std::size_t i = 0; i < outlines.size(); ++i) {
    if (nesting.placements[i].sheet + 1 != nesting.sheets) continue;
    for (const Vector2d& p : outlines[i]) used = std::max(used, nesting.placements[i].apply(p).y());
  }
  const double boards_mm2 =
      limits.board_width_mm * (limits.board_length_mm * static_cast<double>(nesting.sheets - 1) + used);
  check.piece_area_m2 = area * 1e-6, check.board_area_m2 = boards_mm2 * 1e-6;
  check.waste_share = boards_mm2 > 0 ? 1 - area / boards_mm2 : 0;
  check.board_feet = board_feet(boards_mm2, plan.tile_thickness_mm);
}

// Whether the stock gives the wall that is to be left.
void check_wall(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies, PlanCheck& check) {
  check.turned = turned_wall(plan, bodies);
  const double wanted = plan.finished_wall ? plan.finished_wall->to_mm - plan.finished_wall->from_mm : 0;
  if (bodies.empty() || check.turned.wall_mm >= wanted) return;
  std::string text;
  if (plan.finished_wall) {
    text = fmt::format(
        "turned true to the form, {:.1f} mm of the {:.1f} mm stock are left, the finished wall is {:.1f} mm: "
        "take "
        "stock of {:.1f} mm, plan smaller pieces or shape the backs to the form",
        std::max(0.0, check.turned.wall_mm), plan.tile_thickness_mm, wanted,
        std::ceil(10 * (plan.tile_thickness_mm + wanted - check.turned.wall_mm)) / 10);
  } else {
    text = fmt::format(
        "turned true to the form, nothing is left of the {:.1f} mm stock: plan smaller pieces or shape the "
        "backs to the form",
        plan.tile_thickness_mm);
  }
  check.findings.push_back({CheckFinding::Kind::thin_wall, text});
}

}  // namespace

const char* name_of(CheckFinding::Kind kind) {
  switch (kind) {
    case CheckFinding::Kind::narrow_mouth:
      return "narrow mouth";
    case CheckFinding::Kind::narrow_throat:
      return "narrow throat";
    case CheckFinding::Kind::overlap:
      return "overlap";
    case CheckFinding::Kind::small_piece:
      return "small piece";
    case CheckFinding::Kind::rocking:
      return "rocking";
    case CheckFinding::Kind::level_run:
      return "level seam";
    case CheckFinding::Kind::thin_wall:
      return "thin wall";
  }
  return "";
}

double board_feet(double area_mm2, double thickness_mm) {
  return area_mm2 * thickness_mm / (144 * 25.4 * 25.4 * 25.4);
}

double level_run_pieces(const plan::Plan& plan, double mean_face_mm2) {
  return longest_level_run_mm(plan) / std::sqrt(std::max(1.0, mean_face_mm2));
}

PlanCheck check_plan(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                     const std::vector<solid::PieceGeometry>& pieces, const CheckLimits& limits) {
  PlanCheck check;
  check.seams = solid::planned_seams(bodies);
  check_seams(plan, check);
  check_pieces(plan, pieces, limits, check);
  measure_volume(plan, bodies, pieces, check);
  check.level_run_pieces = level_run_pieces(plan, check.mean_face_mm2);
  if (check.level_run_pieces > limits.level_run_pieces) {
    check.findings.push_back(
        {CheckFinding::Kind::level_run, fmt::format("a seam keeps one height past {:.1f} pieces (limit "
                                                    "{:.1f}): a weak line that shows; stagger the pieces",
                                                    check.level_run_pieces, limits.level_run_pieces)});
  }
  measure_stock(plan, bodies, limits, check);
  check_wall(plan, bodies, check);
  return check;
}

}  // namespace interstice::layout
