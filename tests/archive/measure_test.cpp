// Alignment and comparison of two scans, learning from built gaps, the model for viewers.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <cstring>
#include <nlohmann/json.hpp>
#include <numbers>
#include <random>

#include "archive/align.h"
#include "archive/compare.h"
#include "archive/gap_statistics.h"
#include "archive/glb.h"
#include "archive/sample.h"
#include "core/errors.h"

using namespace interstice;
using Eigen::Isometry3d;
using Eigen::Vector3d;

namespace {

// The scan as it would come out in another seat: every point p becomes b_T_a p.
seams::FitDocument seen_from(seams::FitDocument fit, const Isometry3d& b_T_a) {
  for (seams::FitTile& tile : fit.tiles) {
    tile.face.origin = b_T_a * tile.face.origin;
    for (Vector3d* v : {&tile.face.ex, &tile.face.ey, &tile.face.normal}) *v = b_T_a.linear() * *v;
    for (Vector3d& p : tile.arris) p = b_T_a * p;
    for (Vector3d& p : tile.root) p = b_T_a * p;
  }
  return fit;
}

Isometry3d seat(double turn_deg, const Vector3d& shift, double tilt_deg) {
  Isometry3d t = Isometry3d::Identity();
  t.translate(shift);
  t.rotate(Eigen::AngleAxisd(tilt_deg * std::numbers::pi / 180, Vector3d(1, 2, 0).normalized()));
  t.rotate(Eigen::AngleAxisd(turn_deg * std::numbers::pi / 180, Vector3d::UnitZ()));
  return t;
}

// Moves one piece in its face, and turns it about its face's centre.
void move(seams::FitTile& tile, double along_mm, double towards_pole_mm, double turn_deg) {
  const Vector3d centre = archive::face_centre(tile);
  Isometry3d put = Isometry3d::Identity();
  put.translate(centre + along_mm * tile.face.ex + towards_pole_mm * tile.face.ey);
  put.rotate(Eigen::AngleAxisd(turn_deg * std::numbers::pi / 180, tile.face.normal));
  put.translate(-centre);
  for (Vector3d& p : tile.arris) p = put * p;
  for (Vector3d& p : tile.root) p = put * p;
  tile.face.origin = put * tile.face.origin;
}

const archive::PieceDifference& change_of(const archive::Comparison& c, const std::string& label) {
  for (const archive::PieceDifference& p : c.pieces) {
    if (p.label == label) return p;
  }
  throw std::runtime_error("no " + label);
}

std::vector<archive::LearnedSeam> seams_of(std::mt19937& random, int bowls, int each, double mean,
                                           double within, double between) {
  std::normal_distribution<double> normal;
  std::vector<archive::LearnedSeam> out;
  for (int b = 0; b < bowls; ++b) {
    const double offset = between * normal(random);
    for (int i = 0; i < each; ++i) {
      const double d = mean + offset + within * normal(random);
      out.push_back({"bowl " + std::to_string(b), "e", {1 + i % 3, 1 + i % 3}, 4.0, 4.0 + d, 0.1, 4.0});
    }
  }
  return out;
}

}  // namespace

// Law: a scan against itself in another seat shows that seat and nothing else.
TEST(Align, RecoversAnySeat) {
  const seams::FitDocument a = sample::built(sample::plan());
  for (const double turn : {0.0, 17.3, 179.0, -120.0}) {
    const Isometry3d b_T_a = seat(turn, {0.4, -0.3, 0.2}, 0.3);
    const archive::Comparison c = archive::compare(a, seen_from(a, b_T_a));
    EXPECT_EQ((c.alignment.a_T_b * b_T_a).matrix().isIdentity(1e-6), true) << turn;
    EXPECT_NEAR(std::remainder(c.alignment.turn_deg + turn, 360), 0, 0.01);
    for (const archive::PieceDifference& p : c.pieces) {
      EXPECT_LT(p.shift.moved_mm.norm(), 1e-4);
      EXPECT_LT(std::abs(p.shift.in_mm), 1e-5);
    }
    EXPECT_LT(c.alignment.rms_mm, 1e-6);
  }
}

TEST(Align, MovedPiecesAreFoundAndDoNotPullTheOthers) {
  const seams::FitDocument a = sample::built(sample::plan(), {.arris_sd_mm = 0.05});
  seams::FitDocument b = a;
  move(b.tiles[3], 0.9, -0.5, 1.5);
  move(b.tiles[10], -0.6, 0.0, 0.0);
  move(b.tiles[11], 1.4, 0.4, 0.0);
  const archive::Comparison c = archive::compare(a, seen_from(b, seat(33, {0.2, 0.1, -0.1}, 0.1)));
  int moved = 0;
  for (const archive::PieceDifference& p : c.pieces) moved += p.moved;
  EXPECT_EQ(moved, 3);
  const archive::PieceDifference& p = change_of(c, a.tiles[3].label);
  EXPECT_NEAR(p.shift.moved_mm.x(), 0.9, 0.03);
  EXPECT_NEAR(p.shift.moved_mm.y(), -0.5, 0.03);
  EXPECT_NEAR(p.shift.turned_deg, 1.5, 0.05);
  EXPECT_NEAR(change_of(c, a.tiles[10].label).shift.moved_mm.x(), -0.6, 0.03);
}

// Turning takes wood off along the normals; that must neither shift the alignment nor look like moved pieces.
TEST(Align, WoodTakenOffShowsAsDepth) {
  const seams::FitDocument a = sample::built(sample::plan());
  seams::FitDocument b = a;
  for (std::size_t i = 0; i < b.tiles.size(); ++i) {
    seams::FitTile& tile = b.tiles[i];
    const double off = 1.0 + 0.5 * tile.ring;
    tile.face.origin -= off * tile.face.normal;
    for (Vector3d& p : tile.arris) p -= off * tile.face.normal;
    tile.height_mm -= off;
  }
  const archive::Comparison c = archive::compare(a, seen_from(b, seat(-80, {0.3, 0, 0.3}, 0.2)));
  ASSERT_EQ(c.came_in.size(), 4u);
  for (const archive::CameIn& ring : c.came_in) {
    if (ring.ring == 0) {
      EXPECT_NEAR(ring.mean_mm, 2.0, 1e-3);
      EXPECT_NEAR(ring.most_mm, 2.5, 1e-3);
      EXPECT_NEAR(ring.thinnest_left_mm, 12 - 2.5, 1e-9);
    } else {
      EXPECT_NEAR(ring.mean_mm, 1.0 + 0.5 * ring.ring, 1e-3);
      EXPECT_NEAR(ring.sd_mm, 0, 1e-3);
    }
  }
  for (const archive::PieceDifference& p : c.pieces) EXPECT_FALSE(p.moved) << p.label;
}

TEST(Compare, UnchangedPieceKeepsItsStatedErrorRate) {
  // Two scans of one piece that differ by noise alone: about one seam in twenty beyond its 95 % uncertainty,
  // and seldom one that is called sure.
  seams::FitDocument truth = sample::built(sample::plan());
  for (seams::FitTile& tile : truth.tiles) tile.arris.clear();  // only the seams matter here
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  int seams = 0, changed = 0, families = 0, with_sure = 0;
  const auto noisy = [&] {
    seams::FitDocument fit = truth;
    for (seams::FitSeam& s : fit.seams) {
      s.u95_mm = 0.12;
      *s.narrowest_mm += 0.06 * normal(random);
    }
    return fit;
  };
  for (int round = 0; round < 100; ++round) {
    const archive::Comparison c = archive::compare(noisy(), noisy());
    bool sure = false;
    for (const archive::SeamChange& s : c.seams) {
      ++seams;
      changed += s.changed;
      sure = sure || s.sure;
    }
    ++families;
    with_sure += sure;
  }
  // Normal, 2 standard deviations: 4.55 %; the bounds are four standard deviations of the count away.
  const double rate = 0.0455, sd = std::sqrt(rate * (1 - rate) / seams);
  EXPECT_NEAR(static_cast<double>(changed) / seams, rate, 4 * sd);
  EXPECT_LE(with_sure, 5 + 4 * 2.2);
  EXPECT_EQ(families, 100);
}

TEST(Compare, ChangedSeamAndPiecesOfOneScanOnly) {
  const seams::FitDocument a = sample::built(sample::plan());
  seams::FitDocument b = a;
  *b.seams[4].narrowest_mm += 1.0;
  b.seams[5].narrowest_mm.reset();
  b.seams[5].verdict = seams::Verdict::unseen;
  b.tiles[0].state = plan::TileState::absent;
  const archive::Comparison c = archive::compare(a, b);
  int changed = 0;
  for (const archive::SeamChange& s : c.seams) changed += s.changed;
  EXPECT_EQ(changed, 1);
  EXPECT_EQ(c.seams.size(), a.seams.size() - 1);
  EXPECT_EQ(c.only_before, std::vector<std::string>{a.tiles[0].label});
  EXPECT_TRUE(c.only_after.empty());
  seams::FitDocument none = a;
  for (seams::FitTile& t : none.tiles) t.state = plan::TileState::unseen;
  EXPECT_THROW(archive::compare(a, none), core::MeasureError);
}

// One-sided normal tolerance factors: 1.9017 for n = 40, share 0.90, confidence 0.99 by the noncentral t
// (real-statistics.com, "Tolerance interval example"); 2.911, 2.396, 2.220 for n = 10, 20, 30 at 0.95/0.95
// and 3.981 for n = 10 at 0.99/0.95 (from memory, tables after Owen 1962). For n = 43, 0.90/0.99 the
// NIST/SEMATECH e-Handbook 7.2.6.3 has 1.8752 by Natrella's approximation, which the exact one undercuts by
// less than a tenth of a percent or so.
TEST(Learn, PublishedToleranceFactors) {
  EXPECT_NEAR(archive::tolerance_factor(40, 0.90, 0.99), 1.9017, 5e-5);
  EXPECT_NEAR(archive::tolerance_factor(10, 0.95, 0.95), 2.911, 5e-4);
  EXPECT_NEAR(archive::tolerance_factor(20, 0.95, 0.95), 2.396, 5e-4);
  EXPECT_NEAR(archive::tolerance_factor(30, 0.95, 0.95), 2.220, 5e-4);
  EXPECT_NEAR(archive::tolerance_factor(10, 0.99, 0.95), 3.981, 5e-4);
  EXPECT_NEAR(archive::tolerance_factor(43, 0.90, 0.99), 1.8752, 0.003);
  EXPECT_THROW(archive::tolerance_factor(1, 0.95, 0.95), std::invalid_argument);
  EXPECT_THROW(archive::tolerance_factor(10, 1.0, 0.95), std::invalid_argument);
}

TEST(Learn, ManySeamsComeDownToNormalQuantiles) {
  // Closed form: with the spread known, gap = fill - mean + z sd; z = 1.644854, 2.326348 (standard normal
  // tables). The sample is made of the quantiles themselves, so that its mean and standard deviation are
  // known.
  std::vector<archive::LearnedSeam> seams;
  constexpr int kSeams = 4000;
  const boost::math::normal normal;
  for (int i = 0; i < kSeams; ++i) {
    const double d = -0.6 + 0.5 * boost::math::quantile(normal, (i + 0.5) / kSeams);
    seams.push_back({"one bowl", "e", {1, 1}, 4, 4 + d, 0.1, 4});
  }
  const archive::Learned l = archive::learn(seams, {0.95, 0.99}, 0.95, 3.0);
  EXPECT_NEAR(l.all.mean_mm, -0.6, 1e-6);
  EXPECT_NEAR(l.all.sd_mm, 0.5, 5e-4);
  EXPECT_NEAR(l.gaps[0].estimate_mm, 3.6 + 1.644854 * 0.5, 1e-3);
  EXPECT_NEAR(l.gaps[1].estimate_mm, 3.6 + 2.326348 * 0.5, 1e-3);
  EXPECT_GT(l.gaps[0].sure_mm, l.gaps[0].estimate_mm);
  EXPECT_NEAR(l.gaps[0].sure_mm, l.gaps[0].estimate_mm, 0.04);
  EXPECT_NEAR(l.gaps[0].kept_share, 0.95, 0.01);
  EXPECT_NEAR(l.measuring_sd_mm, 0.05, 1e-12);
}

// What the confidence promises: in that share of lives of a workshop, the gap serves at least the wanted
// share of seams.
TEST(Learn, PromiseHoldsInSimulation) {
  std::mt19937 random(11);
  const double mean = -0.5, sd = 0.4;
  const boost::math::normal error(mean, sd);
  int kept = 0;
  constexpr int kLives = 2000;
  for (int life = 0; life < kLives; ++life) {
    const double gap = *archive::gap_to_plan_mm(seams_of(random, 1, 12, mean, sd, 0), 0.95, 0.90, 3.0);
    kept += 1 - boost::math::cdf(error, 3.0 - gap) >= 0.95;
  }
  // 90 %, within four standard deviations of the count.
  EXPECT_NEAR(static_cast<double>(kept) / kLives, 0.90, 4 * std::sqrt(0.9 * 0.1 / kLives));
}

// With an offset of each bowl's own, seams of few bowls count for less than their number.
TEST(Learn, BowlsThatDifferMakeOneLessSure) {
  std::mt19937 random(3);
  const double mean = -0.5, within = 0.3, between = 0.3;
  const boost::math::normal error(mean, std::hypot(within, between));
  int kept = 0, kept_if_pooled = 0;
  constexpr int kLives = 1000;
  for (int life = 0; life < kLives; ++life) {
    std::vector<archive::LearnedSeam> seams = seams_of(random, 6, 40, mean, within, between);
    const archive::Learned l = archive::learn(seams, {0.95}, 0.90, 3.0);
    kept += 1 - boost::math::cdf(error, 3.0 - l.gaps[0].sure_mm) >= 0.95;
    for (archive::LearnedSeam& s : seams) s.piece_name = "all one";
    const double pooled = archive::learn(seams, {0.95}, 0.90, 3.0).gaps[0].sure_mm;
    kept_if_pooled += 1 - boost::math::cdf(error, 3.0 - pooled) >= 0.95;
  }
  EXPECT_GE(kept, 860);
  EXPECT_LT(kept_if_pooled, 800);
}

TEST(Learn, ComponentsAndRings) {
  // Two bowls worked by hand: d = {0, 1, 2} and {3, 4, 5}: within 1, means 1 and 4, between (13.5 - 1)/3
  // = 4.1667.
  std::vector<archive::LearnedSeam> seams;
  for (int i = 0; i < 6; ++i) {
    seams.push_back({i < 3 ? "a" : "b", "e", {1 + i % 3, 2}, 4, 4.0 + i, 0.1, 4});
  }
  const archive::Learned l = archive::learn(seams, {0.95}, 0.95, 3.0);
  EXPECT_EQ(l.bowls, 2u);
  EXPECT_NEAR(l.all.mean_mm, 2.5, 1e-12);
  EXPECT_NEAR(l.bowl_sd_mm, std::sqrt(12.5 / 3), 1e-9);
  EXPECT_NEAR(l.all.sd_mm, std::sqrt(1 + 12.5 / 3), 1e-9);
  // total 5.1667 over the variance of the mean, 4.1667/2 + 1/6 = 2.25: 2.296 values.
  EXPECT_NEAR(l.effective_seams, (1 + 12.5 / 3) / 2.25, 1e-9);
  ASSERT_EQ(l.by_ring.size(), 3u);
  EXPECT_EQ(l.by_ring[0].where, "rings 1-2");
  EXPECT_EQ(l.by_ring[1].where, "ring 2");
  EXPECT_NEAR(l.by_ring[0].mean_mm, 1.5, 1e-12);
  seams.resize(4);
  EXPECT_THROW(archive::learn(seams, {0.95}, 0.95, 3.0), core::MeasureError);
  EXPECT_FALSE(archive::gap_to_plan_mm(seams, 0.95, 0.95, 3.0));
}

TEST(Glb, TrianglesCoverThePolygon) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> radius(0.3, 1.0);
  for (int round = 0; round < 50; ++round) {
    geometry::Polygon star;  // star-shaped round the origin: simple, far from convex
    const int n = 3 + static_cast<int>(random() % 60);
    for (int i = 0; i < n; ++i) {
      const double angle = 2 * std::numbers::pi * i / n;
      star.push_back(radius(random) * Eigen::Vector2d(std::cos(angle), std::sin(angle)));
    }
    double area = 0;
    const auto triangles = archive::triangulated(star);
    ASSERT_EQ(triangles.size(), star.size() - 2);
    for (const auto& [a, b, c] : triangles) {
      const double t = geometry::signed_area({star[a], star[b], star[c]});
      EXPECT_GE(t, 0);
      area += t;
    }
    EXPECT_NEAR(area, geometry::signed_area(star), 1e-12);
  }
}

TEST(Glb, PieceIsAClosedSolidOfTheRightVolume) {
  // A frustum of a square pyramid: top 40 x 40, bottom 30 x 30, 12 high. Prismatoid formula, h/6 (A1 + 4 Am +
  // A2).
  seams::FitTile tile;
  tile.label = "A01";
  tile.state = plan::TileState::placed;
  for (const auto& [x, y] : {std::pair(-1, -1), std::pair(1, -1), std::pair(1, 1), std::pair(-1, 1)}) {
    tile.arris.emplace_back(20 * x, 20 * y, 12);
    tile.root.emplace_back(15 * x, 15 * y, 0);
  }
  tile.face.origin = {0, 0, 12};
  const archive::PieceMesh mesh = archive::mesh_of(tile);
  ASSERT_EQ(mesh.points.size() % 3, 0u);
  double volume = 0;
  Vector3d closed = Vector3d::Zero();
  for (std::size_t i = 0; i < mesh.points.size(); i += 3) {
    const Vector3d &a = mesh.points[i], &b = mesh.points[i + 1], &c = mesh.points[i + 2];
    volume += a.dot(b.cross(c)) / 6;
    closed += (b - a).cross(c - a) / 2;
    EXPECT_NEAR(mesh.normals[i].dot((b - a).cross(c - a).normalized()), 1, 1e-9);
  }
  EXPECT_NEAR(volume, 12.0 / 6 * (1600 + 4 * 35 * 35 + 900), 1e-9);
  EXPECT_LT(closed.norm(), 1e-9);
}

// The rules of the glTF 2.0 specification that a viewer relies on (chunks, alignment, lengths, accessors,
// bounds).
TEST(Glb, FileKeepsTheSpecification) {
  const seams::FitDocument fit = sample::built(sample::plan(2, 6));
  const std::string glb = archive::write_glb(fit);
  const auto word = [&](std::size_t at) {
    std::uint32_t x;
    std::memcpy(&x, glb.data() + at, 4);
    return x;
  };
  ASSERT_EQ(glb.substr(0, 4), "glTF");
  EXPECT_EQ(word(4), 2u);
  EXPECT_EQ(word(8), glb.size());
  const std::size_t json_size = word(12);
  EXPECT_EQ(glb.substr(16, 4), "JSON");
  EXPECT_EQ(json_size % 4, 0u);
  const std::size_t bin = 20 + json_size;
  EXPECT_EQ(glb.substr(bin + 4, 4), std::string("BIN\0", 4));
  EXPECT_EQ(word(bin) % 4, 0u);
  EXPECT_EQ(bin + 8 + word(bin), glb.size());
  const nlohmann::json root = nlohmann::json::parse(glb.substr(20, json_size));
  EXPECT_EQ(root["asset"]["version"], "2.0");
  EXPECT_EQ(root["nodes"].size(), fit.tiles.size());
  EXPECT_EQ(root["buffers"][0]["byteLength"], word(bin));
  double top_m = 0;
  for (const auto& mesh : root["meshes"]) {
    for (const auto& [name, index] : mesh["primitives"][0]["attributes"].items()) {
      const auto& accessor = root["accessors"][index.get<std::size_t>()];
      const auto& view = root["bufferViews"][accessor["bufferView"].get<std::size_t>()];
      EXPECT_EQ(view["byteLength"], accessor["count"].get<std::size_t>() * 12);
      EXPECT_EQ(accessor["count"].get<std::size_t>() % 3, 0u);
      std::array<float, 3> low{9, 9, 9}, high{-9, -9, -9};
      for (std::size_t i = 0; i < accessor["count"]; ++i) {
        std::array<float, 3> v;
        std::memcpy(v.data(), glb.data() + bin + 8 + view["byteOffset"].get<std::size_t>() + i * 12, 12);
        for (std::size_t k = 0; k < 3; ++k) {
          low[k] = std::min(low[k], v[k]);
          high[k] = std::max(high[k], v[k]);
        }
        if (name == "NORMAL") {
          EXPECT_NEAR(std::hypot(v[0], v[1], v[2]), 1, 1e-5);
        }
      }
      if (name != "POSITION") continue;
      EXPECT_EQ(accessor["min"].get<decltype(low)>(), low);
      EXPECT_EQ(accessor["max"].get<decltype(high)>(), high);
      top_m = std::max<double>(top_m, high[1]);
    }
  }
  double top_mm = 0;  // bowl z is glTF y
  for (const seams::FitTile& t : fit.tiles) {
    for (const Vector3d& p : t.arris) top_mm = std::max(top_mm, p.z());
  }
  EXPECT_NEAR(top_m * 1000, top_mm, 1e-3);
  EXPECT_EQ(archive::write_glb(fit), glb);
  EXPECT_EQ(archive::write_glb(seams::FitDocument()).substr(0, 4), "glTF");
}
