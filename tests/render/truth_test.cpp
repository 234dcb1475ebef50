// The renderer's truth against closed forms, against itself turned, and against the demo scan's truth.
#include "renderer/truth.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>

#include "render/scenes.h"
#include "render/strewn.h"

namespace interstice::renderer {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

double radians(double degrees) {
  return degrees * std::numbers::pi / 180;
}

std::vector<TrueSeam> seams_of(const std::vector<BuiltPiece>& pieces) {
  return true_seams(Form(FormOptions{}), pieces, 3.0, 1);
}

TEST(Truth, MouthOfParallelFacesIsTheirGap) {
  for (const double gap : {0.3, 1.0, 2.7, 3.0, 8.0}) {
    const auto seams = seams_of(two_blocks(gap));
    ASSERT_EQ(seams.size(), 1u);
    EXPECT_NEAR(seams[0].mouth_mm, gap, 1e-9) << gap;
    EXPECT_NEAR(seams[0].clearance_mm, gap, 1e-9) << gap;  // the walls draw back behind the arris
    EXPECT_NEAR(seams[0].root_mm, gap + 2 * (16 - 0.3) * std::tan(radians(10)), 1e-6) << gap;
    EXPECT_NEAR(seams[0].at.x(), 0, 1e-9);
    EXPECT_NEAR(seams[0].at.z(), 60 - 0.3, 1e-9);
  }
}

TEST(Truth, SharedLengthIsWhatLiesWithinReach) {
  // Sides of 50 mm with corners of 4 mm: 42 mm straight, then the quarter arcs, then as much of the sides
  // leading away as lies within 8 mm of the other piece's arc: 12 mm from its centre, which is 4 mm in and 4
  // mm across.
  const double away = std::sqrt(12.0 * 12 - 4 * 4) - (2 + 2 * 4);
  const double expected = 42 + 2 * (0.5 * std::numbers::pi * 4 + away);
  const TrueSeam s = seams_of(two_blocks(2.0))[0];
  EXPECT_NEAR(s.length_mm, expected, 0.5);  // counted in quarter millimetres
  EXPECT_GT(s.tight_length_mm, 42);
  EXPECT_LT(s.tight_length_mm, 48);
  EXPECT_EQ(seams_of(two_blocks(3.1))[0].tight_length_mm, 0);
  EXPECT_EQ(seams_of(two_blocks(8.2))[0].length_mm, 0);
}

TEST(Truth, LowerArrisMeetsTheHigherPiecesWall) {
  // The second piece stands h higher; its wall slopes away by the bevel b, so from the first piece's arris
  // the wall is (g + h tan b) cos b away, square to the wall.
  const double gap = 2, h = 1.5, bevel = 12;
  const TrueSeam s = seams_of(two_blocks(gap, bevel, 0.3, h))[0];
  EXPECT_NEAR(s.mouth_mm, (gap + h * std::tan(radians(bevel))) * std::cos(radians(bevel)), 1e-6);
}

TEST(Truth, NegativeBevelWouldPutTheThroatBehindTheMouth) {
  // Walls that lean out below the arris by 5 degrees each: narrowest at the root.
  const double gap = 4;
  const TrueSeam s = seams_of(two_blocks(gap, -5))[0];
  const double root = gap - 2 * (16 - 0.3) * std::tan(radians(5));
  EXPECT_NEAR(s.root_mm, root, 1e-6);
  EXPECT_NEAR(s.clearance_mm, root, 1e-6);
  EXPECT_NEAR(s.mouth_mm, gap * std::cos(radians(5)), 1e-3);  // from the arris square to the leaning wall
}

TEST(Truth, PiecesThatRunIntoEachOtherHaveNoMouth) {
  EXPECT_EQ(seams_of(two_blocks(-0.4))[0].mouth_mm, 0);
}

TEST(Truth, AgreesWithStrewnPoints) {
  SceneOptions o = preset("patch");
  o.layout.pieces = 3;
  const Scene scene = make_scene(o);
  ASSERT_GE(scene.seams.size(), 2u);
  for (const auto& [seam, strewn_mm] : strewn_mouths(scene)) {
    EXPECT_NEAR(seam->mouth_mm, strewn_mm, 0.01) << seam->first << seam->second;
    EXPECT_NE(seam->mouth_mm, strewn_mm);
  }
}

TEST(Truth, TurningTheSceneKeepsTheSeams) {
  SceneOptions o = preset("patch");
  const Scene scene = make_scene(o);
  o.layout.turn_deg = 137.3;
  const Scene turned = make_scene(o);
  ASSERT_EQ(scene.seams.size(), turned.seams.size());
  ASSERT_GE(scene.seams.size(), 5u);
  const double c = std::cos(radians(137.3)), s = std::sin(radians(137.3));
  for (std::size_t i = 0; i < scene.seams.size(); ++i) {
    const TrueSeam &a = scene.seams[i], &b = turned.seams[i];
    EXPECT_EQ(a.first + a.second, b.first + b.second);
    EXPECT_NEAR(a.mouth_mm, b.mouth_mm, 1e-6);
    EXPECT_NEAR(a.clearance_mm, b.clearance_mm, 1e-6);
    EXPECT_NEAR(a.length_mm, b.length_mm, 1e-6);
    EXPECT_NEAR(b.map.x(), c * a.map.x() - s * a.map.y(), 0.02);
    EXPECT_NEAR(b.map.y(), s * a.map.x() + c * a.map.y(), 0.02);
  }
}

// Pieces as the demo scan's truth gives them. Their faces lie 0.3 mm over the outlines it lists (plane sweeps
// of the photos over the listed planes match best there), as here.
std::vector<BuiltPiece> demo_pieces(const nlohmann::json& truth, double thickness_mm) {
  std::vector<BuiltPiece> out;
  for (const auto& tile : truth["tiles"]) {
    if (!tile["placed"].get<bool>()) continue;
    BuiltPiece p;
    p.label = tile["label"];
    p.broken_arris_mm = 0.3;
    p.thickness_mm = thickness_mm;
    p.bevel_deg = tile["built_bevel_deg"];
    const auto vec = [](const nlohmann::json& j) { return Vector3d(j[0], j[1], j[2]); };
    const Vector3d z = vec(tile["normal"]).normalized();
    p.frame.axes.col(2) = z;
    p.frame.axes.col(0) = z.unitOrthogonal();
    p.frame.axes.col(1) = z.cross(p.frame.axes.col(0));
    Vector3d mean = Vector3d::Zero();
    for (const auto& q : tile["outer"]) mean += vec(q) / static_cast<double>(tile["outer"].size());
    p.frame.origin = mean + p.broken_arris_mm * z;
    for (const auto& q : tile["outer"]) p.outline.push_back(p.frame.from_bowl(vec(q)).head<2>());
    out.push_back(p);
  }
  return out;
}

TEST(Truth, RecomputesTheDemoScansTruth) {
  std::ifstream file(std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover/truth.json");
  ASSERT_TRUE(file) << "datasets/plover/truth.json";
  const nlohmann::json truth = nlohmann::json::parse(file);
  const auto seams = seams_of(demo_pieces(truth, 14.3));
  std::map<std::string, TrueSeam> mine;
  for (const TrueSeam& s : seams) mine[s.first + s.second] = s;
  std::vector<double> mouth_error, clearance_error, length_error;
  for (const auto& s : truth["seams"]) {
    if (s["mouth_mm"] > 8.0 || s["length_mm"] < 5.0) continue;
    const auto it = mine.find(s["tiles"][0].get<std::string>() + s["tiles"][1].get<std::string>());
    ASSERT_NE(it, mine.end()) << s["tiles"];
    EXPECT_GE(it->second.length_mm, 5) << it->first;
    mouth_error.push_back(std::abs(it->second.mouth_mm - s["mouth_mm"].get<double>()));
    clearance_error.push_back(std::abs(it->second.clearance_mm - s["clearance_mm"].get<double>()));
    length_error.push_back(std::abs(it->second.length_mm - s["length_mm"].get<double>()));
  }
  ASSERT_EQ(mouth_error.size(), 139u);
  for (auto* list : {&mouth_error, &clearance_error, &length_error}) std::sort(list->begin(), list->end());
  EXPECT_LT(mouth_error.back(), 0.05);
  EXPECT_LT(clearance_error[69],
            0.05);  // where the throat is at the root, the truth file does not tell how deep
  EXPECT_LT(length_error[69], 0.5);
  EXPECT_LT(length_error[132], 1.5);
}

}  // namespace
}  // namespace interstice::renderer
