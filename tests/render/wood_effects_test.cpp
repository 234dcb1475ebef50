// What real wood adds to rendered pieces: against closed forms and independent computations.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>

#include "render/scenes.h"
#include "render/strewn.h"
#include "renderer/glue.h"
#include "renderer/random.h"
#include "renderer/shade.h"

namespace interstice::renderer {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

double tangent(double degrees) {
  return std::tan(degrees * std::numbers::pi / 180);
}

SceneOptions few_pieces() {
  SceneOptions o = preset("patch");
  o.layout.pieces = 4;
  return o;
}

nlohmann::json truth_of(const Scene& s) {
  TruthInput in{"", 3, 1, 1, &s.cards, &s.pieces, &s.seams, &s.shots, nullptr};
  return nlohmann::json::parse(truth_json(in));
}

double range(const std::vector<double>& values) {
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  return *high - *low;
}

TEST(WoodEffects, WithoutThemTheTruthIsWhatItWas) {
  // Written down before there were any.
  SceneOptions o = preset("patch");
  o.layout.pieces = 3;
  const nlohmann::json truth = truth_of(make_scene(o));
  ASSERT_EQ(truth["seams"].size(), 3u);
  const double mouths[] = {3.0374, 3.6927, 3.7006}, clearances[] = {3.0374, 2.4628, 2.1371};
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_NEAR(truth["seams"][i]["mouth_mm"], mouths[i], 1.1e-4);
    EXPECT_NEAR(truth["seams"][i]["clearance_mm"], clearances[i], 1.1e-4);
  }
  for (const auto& tile : truth["tiles"]) {
    if (tile["label"] != "A01") continue;
    EXPECT_NEAR(tile["outer"][0][0], 79.62, 1.1e-4);
    EXPECT_FALSE(tile.contains("corner_mm"));
    EXPECT_FALSE(tile.contains("bow_mm"));
  }
}

TEST(WoodEffects, PiecesStandWhereTheyStoodWithoutThem) {
  SceneOptions o = few_pieces();
  o.layout.planned_gap_mm = 5;  // none comes near another: nobody has to take more care
  const Scene plain = make_scene(o);
  o.build.corner_most_mm = 0.8;
  o.build.waver_deg = 1;
  o.build.round_mm = 0.4;
  const Scene real = make_scene(o);
  ASSERT_EQ(plain.pieces.size(), real.pieces.size());
  for (std::size_t i = 0; i < plain.pieces.size(); ++i) {
    EXPECT_EQ(plain.pieces[i].frame.origin, real.pieces[i].frame.origin);
    EXPECT_EQ(plain.pieces[i].outline, real.pieces[i].outline);
  }
}

TEST(UnevenCorners, DifferFromPieceToPieceAndRoundEachWithinTheirLimits) {
  SceneOptions o = few_pieces();
  o.layout.pieces = 8;
  o.build.corner_most_mm = 1;
  std::vector<double> means;
  double widest_range = 0;
  for (const BuiltPiece& p : make_scene(o).pieces) {
    ASSERT_EQ(p.corner_mm.size(), p.outline.size());
    double sum = 0;
    for (std::size_t i = 0; i < p.corner_mm.size(); ++i) {
      EXPECT_GE(p.corner_mm[i], 0.05);
      EXPECT_LE(p.corner_mm[i], 1);
      const double step = (p.outline[(i + 1) % p.outline.size()] - p.outline[i]).norm();
      const double change = p.corner_mm[(i + 1) % p.corner_mm.size()] - p.corner_mm[i];
      EXPECT_LT(std::abs(change), 0.25 * step + 1e-9);  // smooth
      sum += p.corner_mm[i];
    }
    means.push_back(sum / static_cast<double>(p.corner_mm.size()));
    widest_range = std::max(widest_range, range(p.corner_mm));
  }
  EXPECT_GT(range(means), 0.2);
  EXPECT_GT(widest_range, 0.3);
}

TEST(UnevenCorners, TruthsOutlineIsTheWidestAndLiesAsDeepAsItsCorners) {
  SceneOptions o = few_pieces();
  o.build.corner_most_mm = 1;
  const Scene scene = make_scene(o);
  const nlohmann::json truth = truth_of(scene);
  for (std::size_t k = 0; k < scene.pieces.size(); ++k) {
    const BuiltPiece& p = scene.pieces[k];
    const nlohmann::json& tile = truth["tiles"][k];
    ASSERT_EQ(tile["corner_mm"].size(), tile["outer"].size());
    const Body body = p.body();
    for (std::size_t i = 0; i < p.outline.size(); ++i) {
      const nlohmann::json& q = tile["outer"][i];
      const Vector3d outer = p.frame.from_bowl(Vector3d(q[0], q[1], q[2]));
      EXPECT_NEAR(-outer.z(), tile["corner_mm"][i], 1e-3);
      const Vector2d out = point_normals(p.outline)[i];
      for (const Ring& ring : body.rings())
        EXPECT_LE(out.dot(p.frame.from_bowl(ring[i]).head<2>()), out.dot(outer.head<2>()) + 1e-3);
    }
  }
}

// The shortest way from a point to a broken line, in a plane square to a straight seam.
double to_profile(const Vector2d& p, const std::vector<Vector2d>& profile) {
  double best = 1e9;
  for (std::size_t i = 0; i + 1 < profile.size(); ++i) {
    const Vector2d d = profile[i + 1] - profile[i];
    const double t = std::clamp((p - profile[i]).dot(d) / d.squaredNorm(), 0.0, 1.0);
    best = std::min(best, (profile[i] + t * d - p).norm());
  }
  return best;
}

// (outward, up) from the widest outline's x and the face: face's edge, three flats for the round, wall down to the root.
std::vector<Vector2d> profile(double corner, double bevel_deg, double thickness) {
  std::vector<Vector2d> out;
  for (int k = 0; k <= 3; ++k) {
    const double a = k * std::numbers::pi / 6;
    out.emplace_back(corner * (std::sin(a) - 1), corner * (std::cos(a) - 1));
  }
  out.emplace_back(-(thickness - corner) * tangent(bevel_deg), -thickness);
  return out;
}

TEST(UnevenCorners, MouthBetweenUnlikeCornersIsThatOfTheirProfiles) {
  for (const double second : {0.1, 0.5, 0.95}) {
    std::vector<BuiltPiece> pieces = two_blocks(1.2);
    pieces[0].corner_mm.assign(pieces[0].outline.size(), 0.15);
    pieces[1].corner_mm.assign(pieces[1].outline.size(), second);
    const TrueSeam s = true_seams(Form(FormOptions{}), pieces, 3.0, 1)[0];
    const std::vector<Vector2d> left = profile(0.15, 10, 16);
    std::vector<Vector2d> right = profile(second, 10, 16);
    for (Vector2d& p : right) p.x() = 1.2 - p.x();
    EXPECT_NEAR(s.mouth_mm, std::min(to_profile(left[3], right), to_profile(right[3], left)), 1e-6) << second;
    double clearance = 1e9;
    for (const Vector2d& p : left) clearance = std::min(clearance, to_profile(p, right));
    for (const Vector2d& p : right) clearance = std::min(clearance, to_profile(p, left));
    EXPECT_NEAR(s.clearance_mm, clearance, 1e-6) << second;
  }
}

TEST(UnevenCorners, MouthsAgreeWithStrewnPointsWhereEverythingIsUneven) {
  SceneOptions o = few_pieces();
  o.layout.pieces = 3;
  o.build.corner_most_mm = 1;
  o.build.waver_deg = 2;
  o.build.round_mm = 0.6;
  const Scene scene = make_scene(o);
  ASSERT_GE(scene.seams.size(), 2u);
  for (const auto& [seam, strewn_mm] : strewn_mouths(scene)) EXPECT_NEAR(seam->mouth_mm, strewn_mm, 0.01);
}

TEST(Body, ContainsWhatLiesBetweenItsLevels) {
  // A piece with even corners: at each depth the outline drawn in by a known inset.
  const BuiltPiece p = block("A01", 3, -2, 40, 30, 60, 16, 12, 0.6);
  const Body body = p.body();
  Random random(5);
  int within = 0;
  for (int k = 0; k < 4000; ++k) {
    const Vector3d q(random.between(-22, 22), random.between(-17, 17), random.between(-17, 1));
    const double depth = -q.z();
    bool expected = depth > 0 && depth < 16;
    if (expected && depth > 0.6)
      expected = inside(offset_points(p.outline, -(depth - 0.6) * tangent(12)), q.head<2>());
    if (expected && depth <= 0.6) continue;  // the round: flats, not the arc
    within += expected ? 1 : 0;
    EXPECT_EQ(body.contains(p.frame.to_bowl(q)), expected) << q.transpose();
  }
  EXPECT_GT(within, 1000);
}

TEST(WaveringBevel, HasItsStandardDeviationAndSetsTheRoot) {
  SceneOptions o = few_pieces();
  o.layout.pieces = 0;
  o.layout.planned_gap_mm = 6;
  o.build.waver_deg = 1.5;
  o.build.bevel_error_deg = 0;
  const std::vector<BuiltPiece> pieces = make_scene(o).pieces;
  double square = 0, count = 0;
  for (const BuiltPiece& p : pieces) {
    ASSERT_EQ(p.bevel_at_deg.size(), p.outline.size());
    const Body body = p.body();
    const Outline root = offset_points(p.outline, -1);  // 1 mm in: the way each point goes
    for (std::size_t i = 0; i < p.outline.size(); ++i) {
      square += std::pow(p.bevel_at_deg[i] - p.bevel_deg, 2);
      count += 1;
      const double in = (p.frame.from_bowl(body.root()[i]).head<2>() - p.outline[i]).norm();
      const double step = (root[i] - p.outline[i]).norm();
      EXPECT_NEAR(in / step, (p.thickness_mm - 0.3) * tangent(p.bevel_at_deg[i]), 1e-9);
      const double change = p.bevel_at_deg[(i + 1) % p.outline.size()] - p.bevel_at_deg[i];
      EXPECT_LT(std::abs(change), 1);  // half a millimetre on
    }
  }
  EXPECT_GT(pieces.size(), 15u);
  EXPECT_NEAR(std::sqrt(square / count), 1.5, 0.35);
}

TEST(RoundFaces, AreParaboloidsUpToTheAskedHeight) {
  SceneOptions o = few_pieces();
  o.build.round_mm = 0.8;
  o.build.corner_most_mm = 0.7;
  const Scene scene = make_scene(o);
  const nlohmann::json truth = truth_of(scene);
  const std::vector<Mesh> meshes = make_meshes(scene, 3);
  double most = 0;
  for (const Mesh& mesh : meshes) {
    if (mesh.surface != Surface::piece) continue;
    const auto k = static_cast<std::size_t>(mesh.index);
    const BuiltPiece& p = scene.pieces[k];
    EXPECT_LE(std::abs(p.bow_mm), 0.8);
    most = std::max(most, std::abs(p.bow_mm));
    EXPECT_NEAR(truth["tiles"][k]["bow_mm"], p.bow_mm, 6e-4);
    const Vector2d c = area_centroid(p.outline);
    double spread = 0;
    for (const Vector2d& q : p.outline)
      spread += (q - c).squaredNorm() / static_cast<double>(p.outline.size());
    for (std::size_t t = 0; t < mesh.triangles.size(); ++t) {
      if (mesh.parts[t] != Part::face) continue;
      for (const std::uint32_t corner : mesh.triangles[t]) {
        const Vector3d q = p.frame.from_bowl(mesh.positions[corner].cast<double>());
        EXPECT_NEAR(q.z(), -p.bow_mm * (q.head<2>() - c).squaredNorm() / spread, 1e-4);
      }
    }
    // The widest outline goes with the face.
    for (std::size_t i = 0; i < p.outline.size(); ++i) {
      const nlohmann::json& q = truth["tiles"][k]["outer"][i];
      const double z = p.frame.from_bowl(Vector3d(q[0], q[1], q[2])).z();
      EXPECT_NEAR(z, p.face_z(offset_points(p.outline, -p.corner_mm[i])[i]) - p.corner_mm[i], 0.03);
    }
  }
  EXPECT_GT(most, 0.3);
}

TEST(Letters, AreOnFacesAloneAndAsLargeAsWriting) {
  SceneOptions o = few_pieces();
  const Scene plain = make_scene(o);
  o.look.labels = true;
  const Scene written = make_scene(o);
  const Paint without(plain), with(written);
  Mesh mesh;
  mesh.surface = Surface::piece;
  const BuiltPiece& p = written.pieces[0];
  int dark = 0;
  double most = 0;
  for (double x = -16; x <= 16; x += 0.25) {
    for (double y = -16; y <= 16; y += 0.25) {
      const Eigen::Vector3f at = p.frame.to_bowl({x, y, 0}).cast<float>();
      const float a = without.at(mesh, at, Part::face).reflectance[1];
      const float b = with.at(mesh, at, Part::face).reflectance[1];
      EXPECT_EQ(with.at(mesh, at, Part::wall).reflectance[1], a);
      if (b < 0.7f * a) {
        ++dark;
        most = std::max(most, std::hypot(x, y));
      }
    }
  }
  // Three letters up to 6 mm high of half-millimetre strokes: 10 to 25 mm^2.
  EXPECT_GT(dark / 16.0, 5);
  EXPECT_LT(dark / 16.0, 40);
  EXPECT_LT(most, 16);
}

TEST(PencilLines, WanderOffTheFootprints) {
  SceneOptions o = few_pieces();
  const auto drawn = [&](double jitter) {
    o.look.pencil_jitter_mm = jitter;
    const Scene scene = make_scene(o);
    const Paint paint(scene);
    Mesh mesh;
    mesh.surface = Surface::form;
    int dark = 0, all = 0;
    for (const PlannedPiece& piece : scene.layout.pieces) {
      for (const Vector2d& uv : piece.footprint) {
        const Eigen::Vector3f at = scene.form.point(uv).cast<float>();
        dark += paint.at(mesh, at).reflectance[1] < 0.6f * static_cast<float>(o.look.form_grey) ? 1 : 0;
        ++all;
      }
    }
    return static_cast<double>(dark) / all;
  };
  EXPECT_GT(drawn(0), 0.9);
  EXPECT_LT(drawn(0.8), 0.6);
  EXPECT_GT(drawn(0.8), 0.05);
}

TEST(GlueInSeams, StandsBetweenTheWallsBelowTheMouth) {
  SceneOptions o = few_pieces();
  EXPECT_TRUE(glue_strings(make_scene(o)).empty());
  o.build.glue_in_seams = 1;
  const Scene scene = make_scene(o);
  std::size_t eligible = 0;
  for (const TrueSeam& s : scene.seams) eligible += s.mouth_mm <= 8 && s.length_mm >= 5 ? 1 : 0;
  const std::vector<GlueString> all = glue_strings(scene);
  EXPECT_EQ(all.size(), eligible);
  std::map<std::string, const BuiltPiece*> by_label;
  for (const BuiltPiece& p : scene.pieces) by_label[p.label] = &p;
  for (const GlueString& g : all) {
    const TrueSeam& s = scene.seams[g.seam];
    EXPECT_GE(2 * g.radius_mm, s.root_mm);  // from wall to wall
    EXPECT_GT(g.height_mm, 0.5);
    for (const Vector3d& at : g.places) {
      const Vector2d uv = scene.form.locate(at);
      const Vector3d top = at + g.height_mm * scene.form.frame(uv, 0).axes.col(2);
      for (const std::string& label : {s.first, s.second}) {
        const BuiltPiece& p = *by_label[label];
        EXPECT_LT(p.frame.from_bowl(top).z(), -p.broken_arris_mm) << label;
      }
    }
  }
  o.build.glue_in_seams = 0.5;
  o.layout.pieces = 14;
  const Scene more = make_scene(o);
  const std::size_t some = glue_strings(more).size();
  EXPECT_GT(some, more.seams.size() / 8);
  EXPECT_LT(some, more.seams.size() * 3 / 4);
}

}  // namespace
}  // namespace interstice::renderer
