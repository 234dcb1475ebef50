#include "seams/plan_agreement.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/errors.h"
#include "core/median.h"
#include "plan/piece_model.h"

namespace interstice::seams {

using Eigen::Vector2d;

namespace {

constexpr int kAngles = 120;  // 3 degrees: a millimetre or two along the outline of a piece
// A piece glued in its own place is turned by a few degrees at most.
constexpr double kMostTurn = 15 * std::numbers::pi / 180;
// Saw cuts and traced edges together leave a piece about 0.3 mm from its plan; an edge sanded down by 2.5 mm
// over a third of the outline, 1.2 mm. Neighbours of an irregular layout differ by 1.5 mm and more.
constexpr double kNotItsShape_mm = 1.5;
constexpr std::size_t kFewPieces = 3;  // fewer do not say that the whole plan is another's

// Distance from the origin to the farthest crossing of the segment's line of sight; 0 if it is missed.
double crossing(const Vector2d& a, const Vector2d& b, const Vector2d& ray) {
  const Vector2d edge = b - a;
  const double across = ray.x() * edge.y() - ray.y() * edge.x();
  if (std::abs(across) < 1e-12) return 0;
  const double along_ray = (a.x() * edge.y() - a.y() * edge.x()) / across;
  const double along_edge = (a.x() * ray.y() - a.y() * ray.x()) / across;
  return along_edge >= 0 && along_edge <= 1 ? std::max(0.0, along_ray) : 0;
}

}  // namespace

std::vector<double> radial_shape(const geometry::Polygon& outline) {
  const Vector2d centre = geometry::centroid(outline);
  std::vector<double> shape(kAngles, 0);
  for (int k = 0; k < kAngles; ++k) {
    const double angle = 2 * std::numbers::pi * k / kAngles;
    const Vector2d ray(std::cos(angle), std::sin(angle));
    for (std::size_t i = 0; i < outline.size(); ++i) {
      const double r = crossing(outline[i] - centre, outline[(i + 1) % outline.size()] - centre, ray);
      shape[static_cast<std::size_t>(k)] = std::max(shape[static_cast<std::size_t>(k)], r);
    }
  }
  return shape;
}

double shape_difference(const std::vector<double>& a, const std::vector<double>& b, double most_turn) {
  const auto n = static_cast<int>(a.size());
  const int most = std::min(n / 2, static_cast<int>(std::ceil(most_turn / (2 * std::numbers::pi) * n)));
  double best = std::numeric_limits<double>::infinity();
  for (int turn = -most; turn <= most; ++turn) {
    double sum = 0, squares = 0;
    for (int k = 0; k < n; ++k) {
      const double d = a[static_cast<std::size_t>(k)] - b[static_cast<std::size_t>((k + turn + n) % n)];
      sum += d;
      squares += d * d;
    }
    best = std::min(best, std::max(0.0, squares / n - sum * sum / n / n));
  }
  return std::sqrt(best);
}

PlanAgreement agreement_with_plan(const FitDocument& fit, const plan::Plan& plan) {
  std::vector<std::vector<double>> planned;
  for (std::size_t t = 0; t < plan.tiles.size(); ++t)
    planned.push_back(radial_shape(plan::planned_face(plan, geometry::TileIndex(t)).outline));
  PlanAgreement out;
  std::vector<double> own;
  for (std::size_t t = 0; t < fit.tiles.size() && t < planned.size(); ++t) {
    const FitTile& tile = fit.tiles[t];
    if (tile.state != plan::TileState::placed || tile.arris.size() < 3) continue;
    geometry::Polygon outline;
    for (const Eigen::Vector3d& p : tile.arris) outline.push_back(tile.face.drop(p));
    const std::vector<double> shape = radial_shape(outline);
    PieceAgreement piece;
    piece.tile = geometry::TileIndex(t);
    piece.own_mm = shape_difference(shape, planned[t], kMostTurn);
    geometry::TileIndex nearest(t);
    piece.other_mm = std::numeric_limits<double>::infinity();
    for (std::size_t o = 0; o < planned.size(); ++o) {
      const double d = o == t ? piece.other_mm : shape_difference(shape, planned[o], std::numbers::pi);
      if (d < piece.other_mm) piece.other_mm = d, nearest = geometry::TileIndex(o);
    }
    if (piece.own_mm > kNotItsShape_mm && piece.other_mm < 0.5 * kNotItsShape_mm) piece.shape_of = nearest;
    own.push_back(piece.own_mm);
    out.pieces.push_back(piece);
  }
  out.median_own_mm = core::median(own);
  return out;
}

std::vector<std::string> check_against_plan(FitDocument& fit, const plan::Plan& plan) {
  const PlanAgreement agreement = agreement_with_plan(fit, plan);
  if (agreement.pieces.size() >= kFewPieces && agreement.median_own_mm > kNotItsShape_mm) {
    throw core::MeasureError(fmt::format(
        "the pieces do not have this plan's shapes (half of them are more than {:.1f} mm off): give "
        "the plan they were cut from, not another and not its mirror image",
        agreement.median_own_mm));
  }
  std::vector<std::string> warnings;
  for (const PieceAgreement& piece : agreement.pieces) {
    if (piece.own_mm <= kNotItsShape_mm) continue;
    const std::string label = fit.tiles[piece.tile.value].label;
    std::string line = label + " does not have its planned shape: ";
    if (piece.shape_of) line += "it looks like " + plan.tiles[*piece.shape_of].label + "; ";
    warnings.push_back(line +
                       "another piece in its place, recut, or its edges were not found; check it by hand");
    for (FitSeam& seam : fit.seams) {
      const bool of_it = seam.tiles[0] == label || seam.tiles[1] == label;
      if (of_it && seam.verdict == Verdict::clear)
        seam.verdict = Verdict::doubtful, seam.doubt = Doubt::mouth;
    }
  }
  return warnings;
}

}  // namespace interstice::seams
