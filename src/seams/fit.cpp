#include "seams/fit.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <set>
#include <string>

#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "edges/best_photo.h"
#include "edges/face_above.h"
#include "edges/face_start.h"
#include "edges/find_corner.h"
#include "edges/learn_corner.h"
#include "edges/outline_registration.h"
#include "edges/photo_agreement.h"
#include "edges/photo_noise.h"
#include "edges/plan_shape.h"
#include "edges/trace_arris.h"
#include "edges/wall_slope.h"
#include "plan/piece_model.h"
#include "seams/advice.h"
#include "seams/plan_agreement.h"
#include "seams/seams.h"

namespace interstice::seams {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

struct TileResult {
  FitTile tile;
  MeasuredTile measured;
  std::optional<double> face_above_mm;
  edges::PlanShape shape;
  std::vector<double> photos;  // edges/trace_arris.h
  std::vector<double> other_mm;
};

// What is known of a piece before its arris is measured.
struct Start {
  edges::FaceStart face;
  plan::PieceFace planned;
  edges::PlacedOutline placed;
  edges::TracedArris first;      // within wide windows
  std::vector<double> other_mm;  // edges::FoundCorner::doubt_mm
};

edges::ArrisStart start_of(const edges::TracedArris& traced) {
  return {traced.frame, traced.outline, traced.z_mm};
}

// The outline of a face moved from whichever of a corner's two lines it follows to the arris.
std::vector<double> move_to_arris(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const edges::Surroundings& around, edges::TracedArris& first, edges::ArrisPrior& known) {
  const edges::ArrisLine line(first.frame, first.outline, known.corner);
  edges::FoundCorner found = edges::find_corner(scan, pictures, line, edges::aspect(known.corner), around);
  first.outline = std::move(found.outline);
  for (const double h : found.height) first.z_mm.push_back(-h);
  known.contrast_noise = std::move(found.contrast_noise);
  return std::move(found.doubt_mm);
}

// How well outlines are known before and after they are looked for in the photos.
constexpr double kPlannedMargin_mm = 2.0, kPlacedMargin_mm = 0.3;

TileResult fit_tile(const scan::Scan& scan, const surface::Surface& surface,
                    const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                    const plan::Plan& plan, geometry::TileIndex index, const Start& start,
                    const edges::ArrisPrior& known, const edges::Surroundings& around) {
  TileResult result;
  FitTile& tile = result.tile;
  tile.label = plan.tiles[index].label;
  tile.ring = plan.tiles[index].ring;
  tile.state = start.face.state;
  if (tile.state != plan::TileState::placed) return result;
  const edges::TracedArris traced =
      edges::trace_arris(scan, pictures, start_of(start.first), known, {0.2}, around);
  tile.face = traced.frame;
  for (std::size_t i = 0; i < traced.outline.size(); ++i) tile.arris.push_back(edges::arris_point(traced, i));
  tile.height_mm = surface.form.locate(traced.frame.lift(geometry::centroid(traced.outline))).height;
  tile.root = tile.arris;  // until the walls are measured
  result.photos = traced.photos;
  result.other_mm = start.other_mm;
  result.shape = edges::shape_against_plan(start.planned, tile.arris);
  tile.moved_mm = result.shape.moved_mm;
  tile.turned_deg = result.shape.turned_rad * 180 / std::numbers::pi;
  result.face_above_mm = edges::face_above_arris(surface.heights, plan, traced.frame, traced.outline);
  result.measured = {{tile.face, tile.arris, tile.root},
                     traced.errors.sd_mm,
                     traced.errors.height_variance,
                     traced.errors.covariance,
                     traced.shared_error_mm,
                     edges::photo_shares(traced, scan.photos.size()),
                     {},
                     0};
  return result;
}

edges::ArrisPrior known_of(const Start& start) {
  edges::ArrisPrior known;
  known.face = start.face.shape;
  known.height_sd_mm = start.face.height_sd_mm;
  known.tilt_sd = start.face.tilt_sd;
  return known;
}

// What the bowl's pieces tell of its corners (edges/learn_corner.h).
void learn_corners(const std::vector<Start>& starts, std::vector<edges::ArrisPrior>& known) {
  if (known.empty()) return;
  std::vector<double> heights;
  std::vector<const edges::TracedArris*> traced;
  for (const Start& s : starts) {
    if (s.face.state != plan::TileState::placed) continue;
    std::vector<Eigen::Vector3d> arris;
    for (std::size_t i = 0; i < s.first.outline.size(); ++i) arris.push_back(edges::arris_point(s.first, i));
    heights.push_back(edges::mean_bow_mm(s.face.shape, arris) -
                      s.face.shape.plane.height(s.first.frame.lift(geometry::centroid(s.first.outline))));
    traced.push_back(&s.first);
  }
  const edges::BrokenCorner corner = edges::learn_corner(heights, traced, known.front().corner);
  for (edges::ArrisPrior& k : known) k.corner = corner;
}

// The pieces that may stand in the way, as planned or as placed.
edges::Occluders occluders_of(const std::vector<Start>& starts, bool placed) {
  edges::Occluders out;
  for (const Start& s : starts) {
    if (s.face.state != plan::TileState::placed) {
      out.add_none();
    } else {
      out.add(s.face.frame, placed ? s.placed.outline : s.planned.outline,
              placed ? kPlacedMargin_mm : kPlannedMargin_mm);
    }
  }
  return out;
}

// Edges that few photos show may be another line, by how far they lie off the plan and off the edge beside them.
void doubt_little_seen(std::vector<TileResult>& results) {
  constexpr double kSawn_mm = 0.4;  // off a drawn line by hand (common practice, no source)
  std::vector<double> off, beside;
  for (const TileResult& r : results) {
    const std::vector<double> beside_mm = edges::off_beside(r.shape.off_mm);
    for (std::size_t i = 0; i < r.photos.size(); ++i) {
      if (r.photos[i] < edges::kEnoughPhotos || r.measured.sd_mm[i] <= 0) continue;
      off.push_back(r.shape.off_mm[i]);
      beside.push_back(beside_mm[i]);
    }
  }
  const edges::UsualShape usual{edges::off_plan_sd_mm(std::move(off)).value_or(kSawn_mm),
                                edges::off_beside_sd_mm(std::move(beside)).value_or(kSawn_mm)};
  for (TileResult& r : results) {
    const std::vector<double> other = edges::other_line_variances(r.shape.off_mm, r.photos, usual);
    for (std::size_t i = 0; i < other.size(); ++i) {
      double& sd = r.measured.sd_mm[i];
      const double doubted = std::sqrt(sd * sd + other[i] + r.other_mm[i] * r.other_mm[i]);
      sd = doubted < kUnseenSd_mm ? std::copysign(doubted, sd) : -doubted;
    }
  }
}

// What is known of each point of an arris, for the document.
std::vector<double> stated_sds(const MeasuredTile& tile) {
  std::vector<double> out;
  for (std::size_t i = 0; i < tile.sd_mm.size(); ++i) {
    const double sd = std::hypot(tile.sd_mm[i], tile.shared_error_mm[i] / std::sqrt(3.0));
    out.push_back(std::copysign(sd, tile.sd_mm[i]));
  }
  return out;
}

// The walls' bevels, and the pieces' bodies with them.
void measure_walls(const scan::Scan& scan, const surface::Surface& surface, const plan::Plan& plan,
                   const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                   int threads, std::vector<TileResult>& results) {
  geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid> pieces;
  for (const TileResult& r : results) pieces.push_back(r.measured.solid);
  const auto sides = edges::read_wall_feet(scan, pictures, surface.form, plan, pieces, threads);
  const auto slopes = edges::wall_slopes(sides, plan.bevel_deg);
  for (std::size_t t = 0; t < results.size(); ++t) {
    FitTile& tile = results[t].tile;
    if (tile.state != plan::TileState::placed) continue;
    MeasuredTile& measured = results[t].measured;
    measured.walls.resize(tile.arris.size());
    solid::Walls walls{plan.bevel_deg, plan.tile_thickness_mm, 1.0, std::vector<double>(tile.arris.size())};
    for (std::size_t k = 0; k < slopes[geometry::TileIndex(t)].size(); ++k) {
      const edges::SideSlope& slope = slopes[geometry::TileIndex(t)][k];
      const edges::WallSide& side = sides[geometry::TileIndex(t)][k];
      for (std::size_t i = 0; i < side.points.size(); ++i) {
        measured.walls[side.points[i]] = slope.at[i];
        walls.measured_deg[side.points[i]] = slope.at[i].bevel_deg;
      }
      tile.walls.push_back(
          {side.faces ? plan.tiles[*side.faces].label : "", slope.bevel_deg, slope.sd_deg, slope.measured});
    }
    tile.root = solid::root_from_bevel(tile.face, tile.arris, walls, surface.form);
    measured.solid.root = tile.root;
  }
}

// Coarser photos have nowhere been measured truly: widths come out a millimetre and more off (accuracy of rendered scenes).
constexpr double kCoarsest_mm = 0.6;

void check_fineness(const scan::Scan& scan) {
  const double pixel_mm = scan.quality.pixel_footprint_mm;
  if (pixel_mm <= kCoarsest_mm) return;
  throw core::MeasureError(
      fmt::format("the photos are too coarse: a pixel covers {:.2f} mm of the pieces, and edges cannot be "
                  "told at more than {:.1f} mm; go nearer, or take photos of more pixels",
                  pixel_mm, kCoarsest_mm));
}

FitQuality quality_of(const scan::Scan& scan) {
  FitQuality q;
  q.photos_given = scan.quality.photos_given;
  q.photos_used = static_cast<int>(scan.photos.size());
  q.reprojection_rms_px = scan.quality.reprojection_rms_px;
  q.pixel_footprint_mm = scan.quality.pixel_footprint_mm;
  q.scale_u95_percent = 200 * scan.quality.scale_sd;
  q.length_error_mm = scan.quality.length_error_mm;
  q.check_line_given = scan.quality.check_line_given;
  for (const scan::LeftOut& out : scan.left_out) q.left_out.push_back({out.photo, out.reason});
  return q;
}

std::vector<const edges::TracedArris*> traced_of(const std::vector<Start>& starts) {
  std::vector<const edges::TracedArris*> out;
  for (const Start& s : starts) {
    if (s.face.state == plan::TileState::placed) out.push_back(&s.first);
  }
  return out;
}

// Every piece's corner found about its placed outline, and traced within narrow windows.
void find_arrises(const scan::Scan& scan,
                  const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                  const edges::Occluders& placed, int threads, std::vector<Start>& starts,
                  std::vector<edges::ArrisPrior>& known) {
  core::parallel_for(starts.size(), threads, [&](std::size_t t) {
    Start& start = starts[t];
    start.first = {};
    start.first.frame = start.face.frame;
    start.first.outline = start.placed.outline;
    if (start.face.state != plan::TileState::placed) return;
    start.other_mm = move_to_arris(scan, pictures, {&placed, t}, start.first, known[t]);
    start.first =
        edges::trace_arris(scan, pictures, start_of(start.first), known[t], {0.25, 0.25}, {&placed, t});
  });
}

// The pieces, and the scan with its photos where all of them agree on the edges.
struct MeasuredTiles {
  scan::Scan scan;
  std::vector<TileResult> results;
};

// All pieces: placed among the planned ones, traced within wide windows, and once it is known how far this
// bowl's arrises are broken, to the end.
MeasuredTiles measure_tiles(const scan::Scan& given, const surface::Surface& surface, const plan::Plan& plan,
                            const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                            int threads) {
  std::vector<Start> starts(plan.tiles.size());
  for (std::size_t t = 0; t < starts.size(); ++t) {
    starts[t].face = edges::start_face(surface.heights, plan, geometry::TileIndex(t));
    starts[t].planned = plan::planned_face(plan, geometry::TileIndex(t));
  }
  const edges::Occluders as_planned = occluders_of(starts, false);
  core::parallel_for(starts.size(), threads, [&](std::size_t t) {
    if (starts[t].face.state != plan::TileState::placed) return;
    edges::PlaceOptions place;
    place.around = {&as_planned, t};
    starts[t].placed =
        edges::place_outline(given, pictures, starts[t].face.frame, starts[t].planned.outline, place);
  });
  const edges::Occluders as_placed = occluders_of(starts, true);
  std::vector<edges::ArrisPrior> known;
  for (const Start& start : starts) known.push_back(known_of(start));
  find_arrises(given, pictures, as_placed, threads, starts, known);
  MeasuredTiles out{given, std::vector<TileResult>(plan.tiles.size())};
  const scan::Scan& scan = out.scan;
  if (auto agreeing = edges::with_photos_agreeing(given, traced_of(starts))) {
    out.scan = std::move(*agreeing);
    find_arrises(scan, pictures, as_placed, threads, starts, known);
  }
  const edges::PhotoNoise noise = edges::photo_noise(traced_of(starts), scan.photos.size());
  for (edges::ArrisPrior& k : known) k.photo_noise = noise;
  learn_corners(starts, known);
  core::parallel_for(starts.size(), threads, [&](std::size_t t) {
    edges::TracedArris& first = starts[t].first;
    if (starts[t].face.state != plan::TileState::placed) return;
    first = edges::trace_arris(scan, pictures, start_of(first), known[t], {0.2}, {&as_placed, t});
  });
  learn_corners(starts, known);
  core::parallel_for(starts.size(), threads, [&](std::size_t t) {
    out.results[t] =
        fit_tile(scan, surface, pictures, plan, geometry::TileIndex(t), starts[t], known[t], {&as_placed, t});
  });
  return out;
}

std::set<std::string> lowest_ring(const plan::Plan& plan) {
  int lowest = plan.tiles[geometry::TileIndex(0)].ring;
  for (const plan::PlannedTile& tile : plan.tiles) lowest = std::min(lowest, tile.ring);
  std::set<std::string> labels;
  for (const plan::PlannedTile& tile : plan.tiles) {
    if (tile.ring == lowest) labels.insert(tile.label);
  }
  return labels;
}

}  // namespace

FitDocument fit_pieces(const scan::Scan& scan, const surface::Surface& surface, const plan::Plan& plan,
                       const FitOptions& options) {
  check_fineness(scan);
  return fit_pieces(scan, surface::read_pictures(scan, 0, true, options.threads), surface, plan, options);
}

FitDocument fit_pieces(const scan::Scan& given,
                       const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                       const surface::Surface& surface, const plan::Plan& plan, const FitOptions& options) {
  check_fineness(given);
  FitDocument fit;
  fit.name = plan.name;
  fit.smallest_fill_mm = options.smallest_fill_mm;
  fit.finished_wall = options.finished_wall;
  fit.form_profile = surface.form.points();
  fit.quality = quality_of(given);
  options.progress("measuring the pieces' edges");
  MeasuredTiles tiles = measure_tiles(given, surface, plan, pictures, options.threads);
  const scan::Scan& scan = tiles.scan;
  std::vector<TileResult>& results = tiles.results;
  doubt_little_seen(results);
  measure_walls(scan, surface, plan, pictures, options.threads, results);
  geometry::IndexedVector<geometry::TileIndex, MeasuredTile> measured;
  std::vector<std::string> labels;
  std::vector<std::optional<double>> found;
  for (const TileResult& r : results) found.push_back(r.face_above_mm);
  const std::vector<double> above = edges::with_median_for_unknown(found);
  for (std::size_t t = 0; t < results.size(); ++t) {
    TileResult& r = results[t];
    if (r.tile.state == plan::TileState::placed)
      r.tile.face_above_arris_mm = r.measured.face_above_mm = above[t];
    r.tile.arris_sd_mm = stated_sds(r.measured);
    labels.push_back(r.tile.label);
    fit.tiles.push_back(std::move(r.tile));
    measured.push_back(std::move(r.measured));
  }
  options.progress("measuring the seams");
  SeamOptions seam_options;
  seam_options.smallest_fill_mm = options.smallest_fill_mm;
  seam_options.finished_wall = options.finished_wall;
  seam_options.scale_sd = scan.quality.scale_sd;
  seam_options.photos = edges::PhotoErrors(scan);
  seam_options.threads = options.threads;
  fit.seams = measure_seams(measured, labels, surface.form, seam_options);
  core::parallel_for(fit.seams.size(), options.threads, [&](std::size_t k) {
    FitSeam& seam = fit.seams[k];
    seam.best_photo = edges::best_photo(scan, pictures, seam.at, surface.form.normal(seam.map));
  });
  if (!plan.tiles.empty()) {
    const Vector3d twelve = plan::planned_face(plan, geometry::TileIndex(0)).frame.origin;
    advise(scan, surface.form, {plan.tiles[geometry::TileIndex(0)].label, std::atan2(twelve.y(), twelve.x())},
           lowest_ring(plan), fit.seams);
  }
  fit.warnings = check_against_plan(fit, plan);
  return fit;
}

}  // namespace interstice::seams
