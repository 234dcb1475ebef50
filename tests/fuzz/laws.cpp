#include "fuzz/laws.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <set>

#include "rework/corrections.h"

namespace interstice::fuzz {
namespace {

// How deep brackets stand within one another outside texts. Counted here by itself, not by the reader's
// parser.
int depth_of(const std::string& json) {
  int depth = 0, most = 0;
  bool in_text = false;
  for (std::size_t i = 0; i < json.size(); ++i) {
    const char c = json[i];
    if (in_text) {
      if (c == '\\') ++i;
      if (c == '"') in_text = false;
      continue;
    }
    if (c == '"') in_text = true;
    if (c == '[' || c == '{') most = std::max(most, ++depth);
    if (c == ']' || c == '}') --depth;
  }
  return most;
}

void check_planned(const plan::PlannedTile& tile) {
  require(!tile.label.empty() && tile.label.size() <= 40, "a label has 1 to 40 bytes", tile.label);
  for (const char c : tile.label) {
    require(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f, "a label is one line", tile.label);
  }
  require(tile.ring >= 1 && tile.ring <= 1000, "a ring has a number", tile.label);
  require(geometry::signed_area(tile.outline) >= 0.999, "outlines run counter-clockwise round a square mm",
          tile.label);
  geometry::Polygon steps;
  for (const Eigen::Vector2d& p : tile.outline) {
    require(within(p.x(), -2000, 2000) && within(p.y(), -2000, 2000), "an outline is within 2 m", tile.label);
    steps.push_back((p * 1e4).array().round());
    require((steps.back() - p * 1e4).norm() < 1e-6, "an outline is on the grid it is written on", tile.label);
  }
  require(!geometry::self_crossing(steps), "an outline does not cross itself", tile.label);
}

bool near(const Eigen::Ref<const Eigen::VectorXd>& p) {
  return p.allFinite() && p.cwiseAbs().maxCoeff() <= 1e5;
}

void check_tile(const seams::FitTile& t) {
  require(t.label.size() <= 200 && t.ring >= 1 && t.ring <= 1000, "a piece has a label and a ring", t.label);
  require(near(t.moved_mm) && near(t.face.origin) && near(t.face.ex) && near(t.face.ey) &&
              near(t.face.normal) && within(t.turned_deg, -360, 360) && within(t.height_mm, -1000, 1000) &&
              within(t.face_above_arris_mm, 0, 100),
          "a piece lies on the bench", t.label);
  require(t.arris.size() <= 100000 && t.arris_sd_mm.size() == t.arris.size() &&
              (t.root.empty() || t.root.size() == t.arris.size()),
          "an outline's lists go together", t.label);
  for (std::size_t i = 0; i < t.arris.size(); ++i)
    require(near(t.arris[i]) && within(t.arris_sd_mm[i], -1000, 1000), "an outline lies on the bench",
            t.label);
  for (const Eigen::Vector3d& p : t.root) require(near(p), "a wall's foot lies on the bench", t.label);
  for (const seams::FitWall& w : t.walls)
    require(within(w.bevel_deg, -90, 90) && within(w.sd_deg, 0, 90), "a wall stands", t.label);
}

void check_seam(const seams::FitSeam& s) {
  require(s.verdict == seams::Verdict::unseen || (s.narrowest_mm && s.u95_mm), "a verdict has its width",
          s.tiles[0]);
  for (const auto& width : {s.narrowest_mm, s.u95_mm, s.throat_mm})
    require(!width || within(*width, -1e4, 1e4), "a width is one", s.tiles[0]);
  require(near(s.map) && near(s.at) && within(s.length_mm, 0, 1e5) && within(s.tight_length_mm, 0, 1e5),
          "a seam lies on the bowl", s.tiles[0]);
  require(s.samples.size() <= 100000, "a seam has so many samples at most");
  for (const seams::SeamSample& p : s.samples) {
    require(near(p.a) && near(p.b) && within(p.s_mm, -1e5, 1e5) && within(p.width_mm, -1e4, 1e4) &&
                within(p.sd_mm, -1e4, 1e4),
            "a seam's samples lie on the bowl", s.tiles[0]);
  }
}

void check_correction(const seams::Correction& c) {
  require(within(c.along_mm, -1000, 1000) && within(c.towards_pole_mm, -1000, 1000) &&
              within(c.turn_deg, -360, 360) && near(c.from) && near(c.to) && within(c.depth_mm, 0, 1000) &&
              within(c.length_mm, 0, 1e5),
          "a correction is a maker's", c.tile);
  for (const seams::Correction::Freed& f : c.frees)
    require(within(f.width_after_mm, -1e4, 1e4), "a freed seam has a width", c.tile);
  require(c.tile.size() <= 200 && rework::correction_words(c).size() < 2000, "a correction can be said",
          c.tile);
}

bool cross(const Eigen::Vector2d& a, const Eigen::Vector2d& b, const Eigen::Vector2d& c,
           const Eigen::Vector2d& d) {
  const auto side = [](const Eigen::Vector2d& u, const Eigen::Vector2d& v, const Eigen::Vector2d& p) {
    const Eigen::Vector2d n = (v - u).normalized();
    return n.x() * (p - u).y() - n.y() * (p - u).x();
  };
  constexpr double kClear = 1e-6;  // beyond rounding
  return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0 &&
         std::min({std::abs(side(a, b, c)), std::abs(side(a, b, d)), std::abs(side(c, d, a)),
                   std::abs(side(c, d, b))}) > kClear;
}

}  // namespace

bool within(double x, double low, double high) {
  return x >= low && x <= high;
}

void broken(const char* law, const std::string& detail) {
  std::fprintf(stderr, "fuzz: %s: %s\n", law, detail.c_str());
  std::abort();
}

void require(bool holds, const char* law, const std::string& detail) {
  if (!holds) broken(law, detail);
}

void check_document(const std::string& json) {
  require(depth_of(json) <= 65, "documents nested deeper than 64 levels are refused");
}

void check_plan(const plan::Plan& plan) {
  require(within(plan.tile_thickness_mm, 0.5, 200) && within(plan.bevel_deg, -45, 60) &&
              within(plan.smallest_fill_mm, 0.05, 50) && within(plan.planned_gap_mm, 0, 100),
          "a plan's numbers are those of wood");
  const auto& rz = plan.profile.points();
  require(rz.size() >= 3 && rz.front().x() == 0 && std::abs(rz.back().y()) <= 1e-3 && rz.back().x() >= 5,
          "a plan's form runs from the pole to the rim");
  for (std::size_t i = 0; i < rz.size(); ++i) {
    require(within(rz[i].x(), i == 0 ? 0 : 1e-9, 2000) && within(rz[i].y(), -2000, 2000),
            "a plan's form is within 2 m, off the axis beyond the pole");
  }
  require(!plan.tiles.empty() && plan.tiles.size() <= 4000, "a plan has 1 to 4000 pieces");
  std::set<std::string> labels;
  for (const plan::PlannedTile& tile : plan.tiles) {
    check_planned(tile);
    require(labels.insert(tile.label).second, "a label stands once", tile.label);
  }
}

void check_lens(const camera::Lens& lens) {
  require(within(lens.width, 16, 1e5) && within(lens.height, 16, 1e5) && lens.parameters().allFinite(),
          "a lens is of a picture");
  require(lens.sd.allFinite() && lens.sd.minCoeff() >= 0 && within(lens.rms_px, 0, 1e6) &&
              within(lens.coverage, 0, 1) && within(lens.photos_used, 0, 1e6) && lens.camera.size() <= 400,
          "a lens says how it was found");
  require(within(lens.fx / std::hypot(lens.width, lens.height), 0.09, 101) &&
              within(lens.fx / lens.fy, 0.49, 2.01) && within(lens.cx, 0, lens.width) &&
              within(lens.cy, 0, lens.height),
          "a lens belongs to its picture");
  const camera::LensMatrix r = lens.correlation;
  require(r.allFinite() && r.isApprox(r.transpose(), 1e-6) && r.cwiseAbs().maxCoeff() < 1.0001 &&
              (r.diagonal().array() - 1).abs().maxCoeff() < 1e-6,
          "correlations are within one");
  const camera::LensVector some = camera::LensVector::LinSpaced(-1, 1);
  require(some.dot(r * some) > -1e-4, "a variance is not negative");
  const double diagonal = std::hypot(lens.width, lens.height);
  for (int i = 0; i <= 64; ++i) {
    const double along = i % 17 / 16.0, w = lens.width - 1.0, h = lens.height - 1.0;
    const std::array<Eigen::Vector2d, 4> border{Eigen::Vector2d(along * w, 0), Eigen::Vector2d(along * w, h),
                                                Eigen::Vector2d(0, along * h), Eigen::Vector2d(w, along * h)};
    const Eigen::Vector2d pixel = border[static_cast<std::size_t>(i) / 17];
    const Eigen::Vector3d ray = lens.undistort(pixel);
    require(ray.allFinite() && ray.z() > 0, "every pixel has a ray");
    require((lens.project(ray) - pixel).norm() < 1e-6 * diagonal, "a pixel's ray comes back to it");
  }
}

void check_fit(const seams::FitDocument& fit) {
  require(within(fit.smallest_fill_mm, 0.01, 100), "a smallest fill is one");
  const seams::FitQuality& q = fit.quality;
  require(within(q.photos_given, 0, 1e6) && within(q.photos_used, 0, 1e6) &&
              within(q.reprojection_rms_px, 0, 1e6) && within(q.pixel_footprint_mm, 0, 1e6) &&
              within(q.scale_u95_percent, 0, 1e6) && within(q.length_error_mm.value_or(0), -1e4, 1e4),
          "a fit's quality is in numbers");
  for (const Eigen::Vector2d& p : fit.form_profile) require(near(p), "a form stands on the bench");
  for (const seams::FitTile& t : fit.tiles) check_tile(t);
  for (const seams::FitSeam& s : fit.seams) check_seam(s);
  for (const seams::Correction& c : fit.corrections) check_correction(c);
}

void check_form(const geometry::Profile& profile) {
  const auto& rz = profile.points();
  require(rz.size() >= 3 && rz.size() <= 100000 && rz.front().x() == 0 && rz.back().y() == 0,
          "a form runs from the pole to the rim", std::to_string(rz.size()));
  double widest = 0;
  for (std::size_t i = 0; i < rz.size(); ++i) {
    require(within(rz[i].x(), i == 0 ? 0 : 9e-7, 1000) && within(rz[i].y(), -1e-5, 2000),
            "a form is within its limits", std::to_string(rz[i].x()) + " " + std::to_string(rz[i].y()));
    widest = std::max(widest, rz[i].x());
    for (std::size_t j = i + 2; rz.size() <= 300 && i + 1 < rz.size() && j + 1 < rz.size(); ++j)
      require(!cross(rz[i], rz[i + 1], rz[j], rz[j + 1]), "a form does not cross itself", std::to_string(i));
  }
  require(widest > 14.9, "a form is no thimble", std::to_string(widest));
  for (int k = 0; k <= 40; ++k) {
    const geometry::MeridianPoint m = profile.at(k / 40.0 * 1.1 * widest);
    require(m.rz.allFinite() && std::abs(m.normal.norm() - 1) < 1e-9, "a form has a normal everywhere");
  }
}

}  // namespace interstice::fuzz
