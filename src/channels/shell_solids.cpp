#include "channels/shell_solids.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/counted.h"
#include "core/errors.h"
#include "plan/piece_model.h"

namespace interstice::channels {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

struct Outline {
  geometry::Polygon points;    // arris in the face plane
  std::vector<double> slope;   // of the wall at each point
  std::vector<double> height;  // of the arris above the form
};

Outline outline_of(const solid::PieceSolid& solid, const geometry::Profile& form) {
  Outline o;
  for (const Vector3d& p : solid.arris) {
    o.points.push_back(solid.face.drop(p));
    o.height.push_back(form.locate(p).height);
  }
  const std::vector<Vector2d> outward = geometry::outward_normals(o.points);
  for (std::size_t i = 0; i < solid.arris.size(); ++i) {
    const double depth = solid.face.height(solid.arris[i]) - solid.face.height(solid.root[i]);
    const double inward = -(solid.face.drop(solid.root[i]) - o.points[i]).dot(outward[i]);
    o.slope.push_back(depth > 0.5 ? inward / depth : 0.0);
  }
  return o;
}

// Nearest outline points for many places: runs of segments are passed over when their ball is too far, and
// the search starts from the last place's answer.
class NearestSegment {
 public:
  explicit NearestSegment(const Outline& outline) : o_(outline) {
    const std::size_t n = o_.points.size();
    for (std::size_t from = 0; from < n; from += kRun) {
      const std::size_t to = std::min(from + kRun, n);
      Run run{from, to, (o_.points[from] + o_.points[to % n]) / 2, 0};
      for (std::size_t i = from; i <= to; ++i)
        run.radius = std::max(run.radius, (o_.points[i % n] - run.middle).norm());
      runs_.push_back(run);
    }
  }

  // Distance without sign, slope and height of the nearest point of the outline.
  PieceField::Reading at(const Vector2d& p) {
    double best = 1e300, best_t = 0;
    const auto offer = [&](std::size_t i) {
      const Vector2d& a = o_.points[i];
      const Vector2d d = o_.points[i + 1 < o_.points.size() ? i + 1 : 0] - a, q = p - a;
      const double len2 = d.squaredNorm();
      const double t = len2 > 0 ? std::clamp(q.dot(d) / len2, 0.0, 1.0) : 0.0;
      const double dist2 = (q - t * d).squaredNorm();
      if (dist2 < best) best = dist2, best_t = t, last_ = i;
    };
    offer(last_);
    for (const Run& run : runs_) {
      const double gap = (p - run.middle).norm() - run.radius;
      if (gap > 0 && gap * gap >= best) continue;
      for (std::size_t i = run.from; i < run.to; ++i) offer(i);
    }
    const std::size_t next = last_ + 1 < o_.points.size() ? last_ + 1 : 0;
    return {std::sqrt(best), o_.slope[last_] + best_t * (o_.slope[next] - o_.slope[last_]),
            o_.height[last_] + best_t * (o_.height[next] - o_.height[last_])};
  }

 private:
  static constexpr std::size_t kRun = 12;
  struct Run {
    std::size_t from, to;
    Vector2d middle;
    double radius;
  };
  const Outline& o_;
  std::vector<Run> runs_;
  std::size_t last_ = 0;
};

// Where a horizontal line crosses the outline, sorted: a place is inside after an odd number of crossings.
std::vector<double> crossings(const geometry::Polygon& outline, double y) {
  std::vector<double> x;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const Vector2d &a = outline[i], &b = outline[j];
    if ((a.y() > y) != (b.y() > y)) x.push_back(a.x() + (b.x() - a.x()) * (y - a.y()) / (b.y() - a.y()));
  }
  std::sort(x.begin(), x.end());
  return x;
}

solid::Walls walls_of(const plan::Plan& plan) {
  return {.bevel_deg = plan.bevel_deg, .thickness_mm = plan.tile_thickness_mm};
}

solid::PieceSolid from_plan(const plan::Plan& plan, geometry::TileIndex tile, const seams::FitTile& seen) {
  const plan::PieceFace planned = plan::planned_face(plan, tile);
  const double turn = seen.turned_deg * std::numbers::pi / 180;
  Eigen::Matrix2d rotation;
  rotation << std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn);
  const Vector2d shift = seen.moved_mm;
  solid::PieceSolid solid;
  solid.face = planned.frame;
  for (const Vector2d& p : planned.outline)
    solid.arris.push_back(planned.frame.lift(Vector2d(rotation * p + shift)));
  solid.root = solid::root_from_bevel(solid.face, solid.arris, walls_of(plan), plan.profile);
  return solid;
}

}  // namespace

PieceField::PieceField(const solid::PieceSolid& solid, const geometry::Profile& form, double face_above_mm)
    : face_(solid.face), face_above_mm_(face_above_mm) {
  tabulate(solid, form);
}

void PieceField::tabulate(const solid::PieceSolid& solid, const geometry::Profile& form) {
  const Outline outline = outline_of(solid, form);
  Vector2d high = outline.points.front();
  low_ = high;
  for (const Vector2d& p : outline.points) {
    low_ = low_.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  low_ -= Vector2d::Constant(kReach_mm);
  high += Vector2d::Constant(kReach_mm);
  nx_ = static_cast<std::size_t>(std::ceil((high.x() - low_.x()) / kStep_mm)) + 1;
  ny_ = static_cast<std::size_t>(std::ceil((high.y() - low_.y()) / kStep_mm)) + 1;
  table_.resize(nx_ * ny_);
  map_low_ = Vector2d::Constant(1e300);
  map_high_ = -map_low_;
  NearestSegment nearest(outline);
  for (std::size_t j = 0; j < ny_; ++j) {
    const double y = low_.y() + kStep_mm * static_cast<double>(j);
    const std::vector<double> crossed = crossings(outline.points, y);
    std::size_t passed = 0;
    for (std::size_t i = 0; i < nx_; ++i) {
      const double x = low_.x() + kStep_mm * static_cast<double>(i);
      while (passed < crossed.size() && crossed[passed] < x) ++passed;
      Reading& reading = table_[j * nx_ + i] = nearest.at({x, y});
      if (passed % 2 == 1) reading.outside_mm = -reading.outside_mm;
    }
  }
  // The corners of the table and some points between, on the form below, bound it on the map.
  for (int j = 0; j <= 8; ++j) {
    for (int i = 0; i <= 8; ++i) {
      const Vector2d p = low_ + Vector2d(high - low_).cwiseProduct(Vector2d(i / 8.0, j / 8.0));
      const Vector2d uv = form.locate(face_.lift(p)).uv;
      map_low_ = map_low_.cwiseMin(uv);
      map_high_ = map_high_.cwiseMax(uv);
    }
  }
}

PieceField::Reading PieceField::read(const Vector2d& p) const {
  const double x = (p.x() - low_.x()) / kStep_mm, y = (p.y() - low_.y()) / kStep_mm;
  if (!(x >= 0 && y >= 0 && x < static_cast<double>(nx_ - 1) && y < static_cast<double>(ny_ - 1))) {
    return {2 * kReach_mm, 0, 0};
  }
  const auto i = static_cast<std::size_t>(x), j = static_cast<std::size_t>(y);
  const double fx = x - static_cast<double>(i), fy = y - static_cast<double>(j);
  const Reading* r = &table_[j * nx_ + i];
  const double w[4] = {(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy};
  const Reading* corner[4] = {r, r + 1, r + nx_, r + nx_ + 1};
  Reading out{0, 0, 0};
  for (int k = 0; k < 4; ++k) {
    out.outside_mm += w[k] * corner[k]->outside_mm;
    out.slope += w[k] * corner[k]->slope;
    out.arris_height_mm += w[k] * corner[k]->arris_height_mm;
  }
  return out;
}

ShellSolids solids_of(const seams::FitDocument& fit, const plan::Plan& plan) {
  if (fit.tiles.size() != plan.tiles.size()) {
    throw core::InputError("the fit has " + core::counted(fit.tiles.size(), "piece") + " and the plan " +
                           std::to_string(plan.tiles.size()) + ": give the plan the scan was measured with");
  }
  ShellSolids shell;
  shell.form = plan.profile;
  shell.thickness_mm = plan.tile_thickness_mm;
  if (fit.form_profile.size() >= 3) {
    try {
      shell.form = geometry::Profile(fit.form_profile);
    } catch (const std::invalid_argument& e) {
      throw core::InputError(std::string("form_profile of the fit: ") + e.what());
    }
  }
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) {
    const seams::FitTile& t = fit.tiles[i];
    if (t.label != plan.tiles[geometry::TileIndex(i)].label) {
      throw core::InputError("piece " + std::to_string(i + 1) + " is \"" + core::one_line(t.label, 40) +
                             "\" in the fit and \"" +
                             core::one_line(plan.tiles[geometry::TileIndex(i)].label, 40) +
                             "\" in the plan: give the plan the scan was measured with");
    }
    shell.face_above_mm.push_back(t.state == plan::TileState::placed ? t.face_above_arris_mm : 0.0);
    if (t.state != plan::TileState::placed) {
      shell.pieces.push_back(std::nullopt);
    } else if (t.arris.size() < 3) {
      shell.pieces.push_back(from_plan(plan, geometry::TileIndex(i), t));
    } else if (t.root.size() == t.arris.size()) {
      shell.pieces.push_back(solid::PieceSolid{t.face, t.arris, t.root});
    } else {
      shell.pieces.push_back(solid::PieceSolid{
          t.face, t.arris, solid::root_from_bevel(t.face, t.arris, walls_of(plan), shell.form)});
    }
  }
  return shell;
}

}  // namespace interstice::channels
