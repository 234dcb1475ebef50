// The corrections carried out on the true pieces: proposed from a noisy measurement, applied to the outlines
// as built with geometry of this file's own, and measured with it too. Neither mouth.h nor the optimiser's
// motions are used.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <numbers>
#include <set>

#include "rework/measured_shell.h"
#include "rework/rulings.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using testing::area_centroid;
using testing::carry_out;
using testing::densified;
using testing::measured_document;
using testing::narrowest_width;
using testing::read_true_shell;
using testing::Rulings;
using testing::scan_folder;
using testing::segment_distance;
using testing::true_rulings;
using testing::TrueShell;

// Seam by seam: what a maker does who works the list from the top and looks at one seam at a time. The worst
// seam is put right by the cheapest single action on it, by the optimiser's own price list (moving by 1 mm
// costs as much as sanding 3 mm^2): one of its pieces is shifted square to the seam by what is missing or,
// where that is less work or the piece has been shifted far enough, sanded. A seam that a shift closes comes
// on the list again.
class SeamBySeam {
 public:
  SeamBySeam(const seams::FitDocument& fit, double thickness_mm) : fit_(fit), thickness_(thickness_mm) {
    for (const seams::FitTile& t : fit.tiles) {
      if (t.state == plan::TileState::placed)
        pieces_[t.label] = densified({t.arris, t.root, t.face.normal}, 2);
    }
    for (const seams::FitSeam& s : fit.seams) needed_[s.tiles] = fit.smallest_fill_mm + 1.645 * *s.u95_mm / 2;
  }
  void work() {
    for (const seams::FitSeam& s : fit_.seams) width_[s.tiles] = width(s.tiles);
    for (int step = 0; step < 400; ++step) {
      const auto worst = std::min_element(width_.begin(), width_.end(), [&](const auto& a, const auto& b) {
        return a.second - needed_[a.first] < b.second - needed_[b.first];
      });
      if (worst->second >= needed_[worst->first] - 1e-6) return;
      put_right(worst->first, needed_[worst->first] - worst->second);
    }
  }
  std::set<std::string> touched;
  double wood_mm3 = 0;

 private:
  using Pair = std::array<std::string, 2>;
  double width(const Pair& p) const { return narrowest_width(pieces_.at(p[0]), pieces_.at(p[1])); }
  double short_length(const Pair& p) const {
    double length = 0;
    for (std::size_t i = 0; i < pieces_.at(p[0]).arris.size(); ++i) {
      const Rulings& a = pieces_.at(p[0]);
      double least = 99;
      for (const Vector3d& q : pieces_.at(p[1]).arris) least = std::min(least, (a.arris[i] - q).norm());
      if (least < needed_.at(p)) length += (a.arris[(i + 1) % a.arris.size()] - a.arris[i]).norm();
    }
    return std::max(length, 4.0);
  }
  void put_right(const Pair& p, double missing) {
    const std::string& piece = p[0];
    const double length = short_length(p);
    touched.insert(piece);
    if (missing <= missing * length / 3 && shifted_[piece] + missing <= 3.0) {
      shifted_[piece] += missing;
      shift(p, missing);
      return;
    }
    wood_mm3 += missing * length * thickness_;
    width_[p] += missing;  // the other seams keep their widths
    sanded_[p] += missing;
  }
  void shift(const Pair& p, double missing) {
    Rulings& a = pieces_[p[0]];
    const Rulings& b = pieces_[p[1]];
    Vector3d away = Vector3d::UnitX();
    double least = 1e9;
    for (const Vector3d& x : a.arris) {
      for (const Vector3d& y : b.arris) {
        if ((x - y).squaredNorm() < least) least = (x - y).squaredNorm(), away = x - y;
      }
    }
    away -= away.dot(a.normal) * a.normal;
    away = missing * away.normalized();
    for (std::vector<Vector3d>* curve : {&a.arris, &a.root}) {
      for (Vector3d& q : *curve) q += away;
    }
    for (auto& [pair, now] : width_) {
      if (pair[0] == p[0] || pair[1] == p[0]) now = width(pair) + sanded_[pair];
    }
  }

  const seams::FitDocument& fit_;
  double thickness_;
  std::map<std::string, Rulings> pieces_;
  std::map<Pair, double> width_, needed_, sanded_;
  std::map<std::string, double> shifted_;
};

// The same without shifting anything: the first piece of every seam that is short is sanded.
std::size_t pieces_sanded_seam_by_seam(const seams::FitDocument& fit) {
  std::set<std::string> touched;
  for (const seams::FitSeam& s : fit.seams) {
    if (s.verdict == seams::Verdict::too_tight || s.verdict == seams::Verdict::doubtful)
      touched.insert(s.tiles[0]);
  }
  return touched.size();
}

struct Case {
  const char* scan;
  double u95_mm;
  unsigned seed;
};

class CorrectionsOnTruth : public ::testing::TestWithParam<Case> {};

TEST_P(CorrectionsOnTruth, every_seam_fills_and_none_opens_too_far) {
  const Case& given = GetParam();
  const auto folder = scan_folder(given.scan);
  if (!folder) GTEST_SKIP() << "scan " << given.scan << " is in neither datasets/ nor ../shared/scans";
  const TrueShell shell = read_true_shell(*folder);
  const seams::FitDocument fit = measured_document(shell, given.u95_mm, given.seed);
  const rework::CorrectionResult result = rework::propose_corrections(fit, shell.plan);
  EXPECT_TRUE(result.refused.empty());

  std::map<std::string, Rulings> before = true_rulings(shell), after = before;
  carry_out(shell, result.corrections, after);
  double narrowest = 99;
  std::size_t tight_before = 0, checked = 0;
  for (auto& [label, piece] : before) piece = densified(piece, 4);
  for (auto& [label, piece] : after) piece = densified(piece, 4);
  for (auto a = before.begin(); a != before.end(); ++a) {
    for (auto b = std::next(a); b != before.end(); ++b) {
      if ((area_centroid(a->second) - area_centroid(b->second)).norm() > 90) continue;
      const double was = narrowest_width(a->second, b->second),
                   is = narrowest_width(after[a->first], after[b->first]);
      if (was > 12 && is > 12) continue;
      ++checked;
      tight_before += was < 3.0;
      narrowest = std::min(narrowest, is);
      EXPECT_GE(is, 3.0 - given.u95_mm) << a->first << "-" << b->first << " was " << was;
      if (was <= 8.0) {
        EXPECT_LE(is, 8.0) << a->first << "-" << b->first << " was " << was;
      }
    }
  }
  EXPECT_GT(checked, 90u);
  EXPECT_GT(tight_before, 10u);

  std::set<std::string> touched;
  for (const seams::Correction& c : result.corrections) touched.insert(c.tile);
  EXPECT_EQ(touched.size(), result.pieces_touched);
  SeamBySeam baseline(fit, shell.plan.tile_thickness_mm);
  baseline.work();
  EXPECT_LE(static_cast<double>(touched.size()), 0.7 * static_cast<double>(baseline.touched.size()));
  std::printf(
      "%s seed %u: %zu seams tight before, narrowest after %.2f mm; %zu pieces touched (seam by seam %zu, "
      "only "
      "sanding %zu), %.0f mm3 of wood (seam by seam %.0f), %.1f mm of movement\n",
      given.scan, given.seed, tight_before, narrowest, touched.size(), baseline.touched.size(),
      pieces_sanded_seam_by_seam(fit), result.wood_mm3, baseline.wood_mm3, result.movement_mm);
}

// Narrowest at any depth, wall to rulings both ways; 99 if more than about 12 mm apart.
double narrowest_throat(const Rulings& a, const Rulings& b) {
  double least = 99;
  for (const auto& [own, other] : {std::pair(&a, &b), std::pair(&b, &a)}) {
    for (std::size_t i = 0; i < own->arris.size(); ++i) {
      std::vector<std::size_t> near;
      for (std::size_t k = 0; k < other->arris.size(); ++k) {
        if ((own->arris[i] - other->arris[k]).squaredNorm() < 12 * 12) near.push_back(k);
      }
      for (const double depth : {0.0, 0.25, 0.5, 0.75, 1.0}) {
        const Vector3d p = own->arris[i] + depth * (own->root[i] - own->arris[i]);
        for (const std::size_t k : near)
          least = std::min(least, segment_distance(p, other->arris[k], other->root[k]));
      }
    }
  }
  return least;
}

// Mouth and throat, measured with their usual uncertainties: after the work order each is wide enough on the true
// pieces, or its seam is named as given up, and none is narrower than it was.
TEST_P(CorrectionsOnTruth, throats_fill_too_and_nothing_gets_worse) {
  const Case& given = GetParam();
  if (given.seed != 1) GTEST_SKIP() << "one measurement of each scan is enough here";
  const auto folder = scan_folder(given.scan);
  if (!folder) GTEST_SKIP() << "scan " << given.scan << " is in neither datasets/ nor ../shared/scans";
  const TrueShell shell = read_true_shell(*folder);
  seams::FitDocument fit = measured_document(shell, given.u95_mm, given.seed);
  testing::measure_throats(fit, 0.3);
  const rework::CorrectionResult result = rework::propose_corrections(fit, shell.plan);
  EXPECT_LE(result.pieces_touched, result.pieces_at_least + 1);
  EXPECT_GT(result.pieces_at_least, 10u);
  if (result.proved_fewest) {
    EXPECT_LE(result.pieces_touched, result.pieces_at_least);
  }

  std::set<std::array<std::string, 2>> given_up;
  for (const auto& seam : result.seams) {
    if (seam.had_to_rise && !seam.reached) given_up.insert(seam.tiles);
  }
  EXPECT_EQ(given_up.size(), result.refused.size());
  EXPECT_LE(given_up.size(), 2u);
  std::map<std::string, Rulings> before = true_rulings(shell), after = before;
  carry_out(shell, result.corrections, after);
  for (auto& [label, piece] : before) piece = densified(piece, 2);
  for (auto& [label, piece] : after) piece = densified(piece, 2);
  std::size_t pinched_before = 0;
  double narrowest = 99;
  for (const seams::FitSeam& seam : fit.seams) {
    const double was = narrowest_throat(before[seam.tiles[0]], before[seam.tiles[1]]),
                 is = narrowest_throat(after[seam.tiles[0]], after[seam.tiles[1]]);
    pinched_before += was < 3;
    const bool named = given_up.contains(seam.tiles);
    EXPECT_GE(is, (named ? std::min(was, 3.0) : 3.0) - 0.1)
        << seam.tiles[0] << "-" << seam.tiles[1] << " was " << was;
    if (!named) narrowest = std::min(narrowest, is);
  }
  EXPECT_GT(pinched_before, 20u);
  std::printf(
      "%s: %zu seams narrower than 3 mm somewhere, %zu given up, narrowest of the others after %.2f mm; "
      "%zu pieces, no fewer than %zu\n",
      given.scan, pinched_before, given_up.size(), narrowest, result.pieces_touched, result.pieces_at_least);
}

INSTANTIATE_TEST_SUITE_P(Scans, CorrectionsOnTruth,
                         ::testing::Values(Case{"plover", 0.22, 1}, Case{"plover", 0.22, 2},
                                           Case{"godwit", 0.15, 1}, Case{"godwit", 0.15, 2}),
                         [](const auto& c) {
                           return std::string(c.param.scan) + "_" + std::to_string(c.param.seed);
                         });

}  // namespace
}  // namespace interstice
