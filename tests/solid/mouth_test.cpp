// Seam geometry against closed forms, laws and an independent dense sampling.
#include "solid/mouth.h"
#include "solid/throat.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <map>
#include <numbers>
#include <random>

#include "rework/truth_pieces.h"

namespace interstice {
namespace {

using Eigen::AngleAxisd;
using Eigen::Isometry3d;
using Eigen::Translation3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using testing::read_true_shell;
using testing::scan_folder;

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kThickness = 14;

geometry::Polygon rectangle(double x0, double x1, double y0, double y1) {
  return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
}

// A slab with its face in z = 0, straight walls, sharp corners; `grown` places the root exactly.
solid::PieceSolid slab(const geometry::Polygon& outline, double bevel_deg, double step = 0.8) {
  solid::PieceSolid piece;
  const geometry::Polygon root = geometry::grown(outline, -kThickness * std::tan(bevel_deg * kRad));
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const std::size_t j = (i + 1) % outline.size();
    const int n = std::max(1, static_cast<int>(std::ceil((outline[j] - outline[i]).norm() / step)));
    for (int k = 0; k < n; ++k) {
      const double t = static_cast<double>(k) / n;
      const Vector2d a = outline[i] + t * (outline[j] - outline[i]), r = root[i] + t * (root[j] - root[i]);
      piece.arris.emplace_back(a.x(), a.y(), 0);
      piece.root.emplace_back(r.x(), r.y(), -kThickness);
    }
  }
  return piece;
}

solid::PieceSolid moved(solid::PieceSolid piece, const Isometry3d& m) {
  for (Vector3d& p : piece.arris) p = m * p;
  for (Vector3d& p : piece.root) p = m * p;
  piece.face = {m * piece.face.origin, m.linear() * piece.face.ex, m.linear() * piece.face.ey,
                m.linear() * piece.face.normal};
  return piece;
}

solid::PieceSolid left(double bevel = 0) {
  return slab(rectangle(-30, 0, -20, 20), bevel);
}
solid::PieceSolid right(double gap, double bevel = 0) {
  return slab(rectangle(gap, gap + 30, -20, 20), bevel);
}

double narrowest(const solid::PieceSolid& a, const solid::PieceSolid& b, double limit = 8) {
  const auto summary = solid::summarise_mouth(solid::mouth_along(a, b, {.limit_mm = limit}), 3.0);
  return summary ? summary->narrowest_mm : std::nan("");
}

double throat(const solid::PieceSolid& a, const solid::PieceSolid& b) {
  return solid::throat_of(solid::SolidBody(a), solid::SolidBody(b))->width_mm;
}

TEST(Mouth, parallel_straight_seam_has_its_gap_everywhere) {
  const auto samples = solid::mouth_along(left(), right(3.25));
  const auto summary = solid::summarise_mouth(samples, 3.0);
  ASSERT_TRUE(summary);
  EXPECT_NEAR(summary->narrowest_mm, 3.25, 1e-12);
  EXPECT_EQ(summary->tight_length_mm, 0);
  EXPECT_NEAR(throat(left(), right(3.25)), 3.25, 1e-12);
  double within = 0;
  for (const solid::MouthSample& m : samples) {
    // 40 mm of straight edges, then round the corners where the width grows.
    if (std::abs(m.on_a.y()) <= 20 && m.on_a.x() > -1e-9 && m.on_b.x() < 3.25 + 1e-9) {
      EXPECT_NEAR(m.width_mm, 3.25, 1e-9);
      within += 0.5;
    }
    EXPECT_NEAR((m.on_a - m.on_b).norm(), m.width_mm, 1e-9);
  }
  EXPECT_NEAR(within, 40.0, 1.0);
  EXPECT_NEAR(solid::summarise_mouth(solid::mouth_along(left(), right(2.5)), 3.0)->tight_length_mm, 40.0,
              3.5);
}

TEST(Mouth, samples_name_the_arris_point_and_run_along_the_seam) {
  const solid::PieceSolid a = left(), b = right(3);
  const solid::SolidBody body_a(a), body_b(b);
  const auto samples = solid::mouth_along(body_a, body_b);
  ASSERT_GT(samples.size(), 70u);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const solid::MouthSample& m = samples[i];
    const Vector3d arris = (m.from == 0 ? body_a : body_b).arris_at(m.segment, m.t);
    EXPECT_NEAR((arris - (m.from == 0 ? m.on_a : m.on_b)).norm(), 0, 1e-12);
    if (i > 0) {
      EXPECT_GT(m.s_mm, samples[i - 1].s_mm);
      EXPECT_LT(m.s_mm - samples[i - 1].s_mm, 1.01);
    }
  }
  EXPECT_GT(samples.back().on_a.y(), samples.front().on_a.y());  // counter-clockwise along a
}

TEST(Mouth, bevel_opens_the_seam_below_and_an_undercut_closes_it) {
  EXPECT_NEAR(narrowest(left(10), right(3, 10)), 3.0, 1e-9);
  EXPECT_NEAR(throat(left(10), right(3, 10)), 3.0, 1e-9);
  // Undercut walls lean towards the other arris: the perpendicular onto the leaning wall is the mouth.
  EXPECT_NEAR(narrowest(left(-5), right(3, -5)), 3.0 * std::cos(5 * kRad), 1e-9);
  EXPECT_NEAR(throat(left(-5), right(3, -5)), 3.0 - 2 * kThickness * std::tan(5 * kRad), 1e-9);
}

TEST(Mouth, tilting_about_the_own_edge_counts_only_when_the_wall_leans_over) {
  for (const double tilt : {4.0, 10.0, 16.0, 25.0}) {
    // The right piece turns about its seam edge so that its wall swings towards the left one.
    const Isometry3d turn =
        Translation3d(3, 0, 0) * AngleAxisd(tilt * kRad, Vector3d::UnitY()) * Translation3d(-3, 0, 0);
    const double lean = std::max(0.0, tilt - 10.0) * kRad;
    EXPECT_NEAR(narrowest(left(10), moved(right(3, 10), turn)), 3.0 * std::cos(lean), 1e-9) << tilt;
  }
}

TEST(Mouth, corner_against_an_edge) {
  const double gap = 2.75, half_diagonal = 20;
  const geometry::Polygon diamond{{gap, 0},
                                  {gap + half_diagonal, -half_diagonal},
                                  {gap + 2 * half_diagonal, 0},
                                  {gap + half_diagonal, half_diagonal}};
  const auto summary = solid::summarise_mouth(solid::mouth_along(left(10), slab(diamond, 10)), 3.0);
  ASSERT_TRUE(summary);
  EXPECT_NEAR(summary->narrowest_mm, gap, 1e-9);
  EXPECT_NEAR((summary->at - Vector3d(gap / 2, 0, 0)).norm(), 0, 1e-6);
  // The sides open at 45 degrees: along the straight edge, 2 * (8 - gap) are within 8 mm of the diamond's
  // corner region by slope 1; measured square to the diamond's sides it is longer by the root of two.
  EXPECT_GT(summary->length_mm, 2 * (8 - gap));
  EXPECT_LT(summary->length_mm, 2 * (8 - gap) * std::sqrt(2.0) + 3);
}

TEST(Mouth, a_lifted_piece_is_measured_to_its_wall) {
  for (const double lift : {0.5, 2.0, 6.0}) {
    for (const double bevel : {0.0, 10.0, 30.0}) {
      const double gap = 2.0, t = bevel * kRad;
      const solid::PieceSolid high = moved(right(gap, bevel), Isometry3d(Translation3d(0, 0, lift)));
      // From the low arris square to the high wall, or from arris to arris.
      const double foot = (gap + lift * std::tan(t)) * std::sin(t) * std::cos(t);
      const double to_wall = (gap + lift * std::tan(t)) * std::cos(t), to_arris = std::hypot(gap, lift);
      EXPECT_NEAR(narrowest(left(bevel), high), foot <= lift ? to_wall : to_arris, 1e-9)
          << lift << " " << bevel;
    }
  }
}

TEST(Mouth, overlap_is_negative) {
  EXPECT_NEAR(narrowest(slab(rectangle(-30, 0, -10, 10), 0),
                        moved(right(-1.5, 0), Isometry3d(Translation3d(0, 0, 5)))),
              -1.5, 1e-9);
  EXPECT_LT(throat(left(-10), right(3, -10)), 0);
}

TEST(Mouth, far_or_empty_pieces_have_no_seam) {
  EXPECT_TRUE(solid::mouth_along(left(), right(8.5)).empty());
  EXPECT_FALSE(solid::mouth_along(left(), right(7.5)).empty());
  EXPECT_TRUE(solid::mouth_along(solid::SolidBody(left()), solid::SolidBody()).empty());
  EXPECT_FALSE(solid::throat_of(solid::SolidBody(left()), solid::SolidBody()));
  EXPECT_FALSE(solid::summarise_mouth({}, 3.0));
  solid::PieceSolid broken = left();
  broken.root.pop_back();
  EXPECT_THROW(solid::SolidBody{broken}, std::invalid_argument);
  broken = left();
  broken.arris[3].x() = std::nan("");
  EXPECT_THROW(solid::SolidBody{broken}, std::invalid_argument);
}

TEST(Mouth, the_back_of_a_thin_piece_is_no_seam) {
  const solid::PieceSolid strip = slab(rectangle(3, 6, -20, 20), 0);
  for (const solid::MouthSample& m : solid::mouth_along(left(), strip)) EXPECT_LT(m.on_b.x(), 6 - 1e-6);
}

solid::PieceSolid wavy(unsigned seed, const Vector2d& centre, double radius) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> phase(0, 2 * std::numbers::pi);
  const double p = phase(random), q = phase(random), bevel = 10 * kRad;
  solid::PieceSolid piece;
  for (int i = 0; i < 180; ++i) {
    const double a = 2 * std::numbers::pi * i / 180,
                 r = radius * (1 + 0.06 * std::sin(3 * a + p) + 0.03 * std::sin(7 * a + q));
    const Vector2d u(std::cos(a), std::sin(a)), top = centre + r * u,
                                                low = centre + (r - kThickness * std::tan(bevel)) * u;
    piece.arris.emplace_back(top.x(), top.y(), 0);
    piece.root.emplace_back(low.x(), low.y(), -kThickness);
  }
  piece.face.origin = Vector3d(centre.x(), centre.y(), 0);
  return piece;
}

solid::PieceSolid tilted(unsigned seed, solid::PieceSolid piece) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(-1, 1);
  const Vector3d axis = Vector3d(unit(random), unit(random), unit(random) / 4).normalized();
  const Vector3d o = piece.face.origin;
  return moved(piece, Isometry3d(Translation3d(0, 0, unit(random)) * Translation3d(o) *
                                 AngleAxisd(0.06, axis) * Translation3d(-o)));
}

TEST(MouthLaws, swapping_the_pieces_reverses_the_seam) {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const solid::PieceSolid a = tilted(seed, wavy(seed, {0, 0}, 22)),
                            b = tilted(seed + 100, wavy(seed + 50, {48, 3}, 22));
    const auto ab = solid::mouth_along(a, b), ba = solid::mouth_along(b, a);
    ASSERT_EQ(ab.size(), ba.size());
    for (std::size_t i = 0; i < ab.size(); ++i) {
      const solid::MouthSample& back = ba[ba.size() - 1 - i];
      EXPECT_NEAR(ab[i].width_mm, back.width_mm, 1e-9);
      EXPECT_NEAR(ab[i].s_mm, ba.back().s_mm - back.s_mm, 1e-6);
    }
    EXPECT_NEAR(throat(a, b), throat(b, a), 1e-3);
  }
}

TEST(MouthLaws, rigid_motion_changes_nothing) {
  const Isometry3d m = Translation3d(40, -7, 12) * AngleAxisd(1.1, Vector3d(1, 2, -0.5).normalized());
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const solid::PieceSolid a = tilted(seed, wavy(seed, {0, 0}, 22)),
                            b = tilted(seed + 100, wavy(seed + 50, {48, 3}, 22));
    const auto here = solid::summarise_mouth(solid::mouth_along(a, b), 3.0),
               there = solid::summarise_mouth(solid::mouth_along(moved(a, m), moved(b, m)), 3.0);
    ASSERT_EQ(here.has_value(), there.has_value());
    if (!here) continue;
    EXPECT_NEAR(here->narrowest_mm, there->narrowest_mm, 1e-7);
    EXPECT_NEAR((m * here->at - there->at).norm(), 0, 1e-3);
    EXPECT_NEAR(here->length_mm, there->length_mm, 0.51);
  }
}

solid::PieceSolid refined_outline(const solid::PieceSolid& piece) {
  solid::PieceSolid out;
  out.face = piece.face;
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const std::size_t j = (i + 1) % piece.arris.size();
    for (const double t : {0.0, 1.0 / 3, 2.0 / 3}) {
      out.arris.push_back(piece.arris[i] + t * (piece.arris[j] - piece.arris[i]));
      out.root.push_back(piece.root[i] + t * (piece.root[j] - piece.root[i]));
    }
  }
  return out;
}

TEST(MouthLaws, refining_the_polylines_changes_nothing) {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const solid::PieceSolid a = tilted(seed, wavy(seed, {0, 0}, 22)),
                            b = tilted(seed + 100, wavy(seed + 50, {48, 3}, 22));
    // Quads are not quite plane: their two triangles change a little when the outline is split.
    EXPECT_NEAR(narrowest(a, b), narrowest(refined_outline(a), refined_outline(b)), 1e-3);
  }
}

TEST(MouthLaws, dense_sampling_of_the_surfaces_agrees) {
  for (unsigned seed = 1; seed <= 8; ++seed) {
    const solid::PieceSolid a = tilted(seed, wavy(seed, {0, 0}, 22)),
                            b = tilted(seed + 100, wavy(seed + 50, {49, 3}, 22));
    // Points of one arris against a cloud on the other's walls; no distance code shared.
    double least = 1e9;
    for (const auto& [own, other] : {std::pair(&a, &b), std::pair(&b, &a)}) {
      const solid::PieceSolid fine = refined_outline(refined_outline(*own)), cloud = refined_outline(*other);
      for (std::size_t k = 0; k < cloud.arris.size(); ++k) {
        for (int step = 0; step <= 40; ++step) {
          const Vector3d q = cloud.arris[k] + 0.025 * step * 0.5 * (cloud.root[k] - cloud.arris[k]);
          for (std::size_t i = 0; i < fine.arris.size(); ++i)
            least = std::min(least, (fine.arris[i] - q).squaredNorm());
        }
      }
    }
    const double found = narrowest(a, b, 30);
    EXPECT_LE(found, std::sqrt(least) + 1e-9);
    EXPECT_NEAR(found, std::sqrt(least), 0.02);
  }
}

TEST(Mouth, a_junction_belongs_to_the_nearer_piece) {
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  bodies.push_back(solid::SolidBody(left()));                                // A
  bodies.push_back(solid::SolidBody(slab(rectangle(3, 33, 1.5, 20), 0)));    // B above
  bodies.push_back(solid::SolidBody(slab(rectangle(3, 33, -20, -1.5), 0)));  // C below
  const auto seams = solid::mouths_of_shell(bodies);
  ASSERT_EQ(seams.size(), 3u);
  const double ab = solid::summarise_mouth(seams[0].samples, 3.0)->length_mm;
  const auto alone = solid::mouth_along(bodies[geometry::TileIndex(0)], bodies[geometry::TileIndex(1)]);
  EXPECT_LT(ab, solid::summarise_mouth(alone, 3.0)->length_mm - 2);  // without C it reaches further down
  for (const solid::MouthSample& m : seams[0].samples) {
    if (m.from == 0 && !m.third_nearer) {
      EXPECT_GE(m.on_a.y(), -0.51);
    }
  }
}

TEST(Mouth, candidates_are_those_whose_spheres_meet) {
  const auto folder = scan_folder("plover");
  if (!folder) GTEST_SKIP() << "scan plover is in neither datasets/ nor ../shared/scans";
  const auto bodies = read_true_shell(*folder).bodies();
  const auto pairs = solid::candidate_neighbours(bodies, 8.0);
  std::size_t found = 0;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    for (std::size_t j = i + 1; j < bodies.size(); ++j) {
      if (solid::mouth_along(bodies[geometry::TileIndex(i)], bodies[geometry::TileIndex(j)]).empty())
        continue;
      ++found;
      EXPECT_TRUE(std::binary_search(pairs.begin(), pairs.end(),
                                     std::pair(geometry::TileIndex(i), geometry::TileIndex(j))));
    }
  }
  EXPECT_GT(found, 100u);
}

// Walls of a bevelled piece on a sphere, and on nothing.
TEST(RootFromBevel, walls_end_on_the_form_or_at_the_stock) {
  std::vector<Vector2d> meridian;
  for (int i = 0; i <= 90; ++i) meridian.emplace_back(120 * std::sin(i * kRad), 120 * std::cos(i * kRad));
  const geometry::Profile form(meridian);
  const geometry::PlaneFrame face{.origin = {0, 0, 134}};
  std::vector<Vector3d> arris;
  for (int i = 0; i < 100; ++i)
    arris.emplace_back(25 * std::cos(0.02 * i * std::numbers::pi), 25 * std::sin(0.02 * i * std::numbers::pi),
                       134);
  const double slope = std::tan(10 * kRad);
  for (const Vector3d& p : solid::root_from_bevel(face, arris, {.bevel_deg = 10, .thickness_mm = 40}, form)) {
    EXPECT_NEAR(p.norm(), 120, 2e-3);
    EXPECT_NEAR(25 - p.head<2>().norm(), slope * (134 - p.z()), 5e-3);
  }
  for (const Vector3d& p : solid::root_from_bevel(face, arris, {.bevel_deg = 10, .thickness_mm = 14}, form)) {
    EXPECT_NEAR(p.z(), 120, 1e-9);
    EXPECT_NEAR(p.head<2>().norm(), 25 - 14 * slope, 5e-3);
  }
}

}  // namespace
}  // namespace interstice
