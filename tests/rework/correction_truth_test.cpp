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

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using testing::measured_document;
using testing::read_true_shell;
using testing::scan_folder;
using testing::TrueShell;

// A piece as two dense curves: arris and root, joined by straight rulings.
struct Rulings {
  std::vector<Vector3d> arris, root;
  Vector3d normal;
};

double segment_distance(const Vector3d& p, const Vector3d& a, const Vector3d& b) {
  const Vector3d d = b - a;
  const double t = std::clamp((p - a).dot(d) / d.squaredNorm(), 0.0, 1.0);
  return (p - (a + t * d)).norm();
}

Rulings densified(const Rulings& piece, int parts) {
  Rulings out{{}, {}, piece.normal};
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const std::size_t j = (i + 1) % piece.arris.size();
    for (int k = 0; k < parts; ++k) {
      const double t = static_cast<double>(k) / parts;
      out.arris.push_back((1 - t) * piece.arris[i] + t * piece.arris[j]);
      out.root.push_back((1 - t) * piece.root[i] + t * piece.root[j]);
    }
  }
  return out;
}

// Narrowest width, arris to rulings both ways; 99 if more than about 20 mm apart.
double narrowest_width(const Rulings& a, const Rulings& b) {
  double least = 99, coarse = 1e9;
  for (std::size_t i = 0; i < a.arris.size(); i += 8) {
    for (std::size_t k = 0; k < b.arris.size(); k += 8)
      coarse = std::min(coarse, (a.arris[i] - b.arris[k]).squaredNorm());
  }
  if (coarse > 25 * 25) return least;
  for (const auto& [own, other] : {std::pair(&a, &b), std::pair(&b, &a)}) {
    std::vector<Vector3d> near_arris;
    Rulings near_wall;
    for (const Vector3d& p : own->arris) {
      for (std::size_t k = 0; k < other->arris.size(); k += 4) {
        if ((p - other->arris[k]).squaredNorm() < 15 * 15) {
          near_arris.push_back(p);
          break;
        }
      }
    }
    for (std::size_t k = 0; k < other->arris.size(); ++k) {
      for (const Vector3d& p : near_arris) {
        if ((p - other->arris[k]).squaredNorm() > 16 * 16) continue;
        near_wall.arris.push_back(other->arris[k]);
        near_wall.root.push_back(other->root[k]);
        break;
      }
    }
    for (const Vector3d& p : near_arris) {
      for (std::size_t k = 0; k < near_wall.arris.size(); ++k) {
        if ((p - near_wall.arris[k]).squaredNorm() > 18 * 18) continue;
        least = std::min(least, segment_distance(p, near_wall.arris[k], near_wall.root[k]));
      }
    }
  }
  return least;
}

Vector3d area_centroid(const Rulings& piece) {
  Vector3d sum = Vector3d::Zero();
  double area = 0;
  for (std::size_t i = 1; i + 1 < piece.arris.size(); ++i) {
    const Vector3d &o = piece.arris[0], &p = piece.arris[i], &q = piece.arris[i + 1];
    const double twice = (p - o).cross(q - o).dot(piece.normal);
    sum += twice * (o + p + q) / 3;
    area += twice;
  }
  return sum / area;
}

// Curvatures of the form at a place from the drawn meridian's own points: along the meridian by the circle
// through three of them some millimetres apart, round the axis by Meusnier's theorem.
struct FormAt {
  Vector3d normal, along, pole;
  double along_curvature, pole_curvature, height;
};

FormAt form_at(const std::vector<Vector2d>& meridian, const Vector3d& p) {
  const double r = p.head<2>().norm();
  std::size_t best = 0;
  for (std::size_t i = 0; i < meridian.size(); ++i) {
    if ((meridian[i] - Vector2d(r, p.z())).norm() < (meridian[best] - Vector2d(r, p.z())).norm()) best = i;
  }
  std::size_t lo = best, hi = best;
  while (lo > 0 && (meridian[lo] - meridian[best]).norm() < 8) --lo;
  while (hi + 1 < meridian.size() && (meridian[hi] - meridian[best]).norm() < 8) ++hi;
  const Vector2d a = meridian[lo], b = meridian[best], c = meridian[hi];
  const Vector2d tangent = (c - a).normalized();  // from the pole to the rim
  const double cross = (b - a).x() * (c - a).y() - (b - a).y() * (c - a).x();
  FormAt out;
  out.pole_curvature =
      lo < best && best < hi ? std::abs(2 * cross / ((b - a).norm() * (c - b).norm() * (c - a).norm())) : 0;
  const Vector3d out_radial(p.x() / r, p.y() / r, 0);
  out.normal = -tangent.y() * out_radial + tangent.x() * Vector3d::UnitZ();
  out.pole = -(tangent.x() * out_radial + tangent.y() * Vector3d::UnitZ());
  out.along = Vector3d::UnitZ().cross(out_radial);
  out.along_curvature = -tangent.y() / std::max(b.x(), 1.0);
  out.height = (p - (b.x() * out_radial + b.y() * Vector3d::UnitZ())).dot(out.normal);
  return out;
}

// A slide to second order in the move: the offset surface through the centroid is followed by its curvatures.
void move(const std::vector<Vector2d>& meridian, const Vector3d& centroid, const seams::Correction& c,
          Rulings& piece) {
  const Eigen::AngleAxisd turn(c.turn_deg * std::numbers::pi / 180, piece.normal);
  const FormAt form = form_at(meridian, centroid);
  const double ka = form.along_curvature / (1 + form.height * form.along_curvature);
  const double kp = form.pole_curvature / (1 + form.height * form.pole_curvature);
  const double a = c.along_mm, p = c.towards_pole_mm;
  const Vector3d spin = form.normal.cross(ka * a * form.along + kp * p * form.pole);
  const Eigen::AngleAxisd tilt(spin.norm(),
                               spin.norm() > 0 ? Vector3d(spin.normalized()) : Vector3d::UnitX());
  const Vector3d travel = a * form.along + p * form.pole - 0.5 * (ka * a * a + kp * p * p) * form.normal;
  for (std::vector<Vector3d>* curve : {&piece.arris, &piece.root}) {
    for (Vector3d& q : *curve) q = centroid + travel + tilt * (turn * (q - centroid));
  }
  piece.normal = tilt * piece.normal;
}

// Depth taken off every vertex by the sanding of one piece; ends are found on the map.
struct Taken {
  std::vector<double> depth_mm, ease_deg;
};
Taken taken_by(const geometry::Profile& form, const Rulings& piece,
               const std::vector<seams::Correction>& sanding) {
  const std::size_t n = piece.arris.size();
  std::vector<double> arc(1, 0);
  Taken taken{std::vector<double>(n, 0), std::vector<double>(n, 0)};
  std::vector<Vector2d> map;
  for (std::size_t i = 0; i < n; ++i) {
    arc.push_back(arc.back() + (piece.arris[(i + 1) % n] - piece.arris[i]).norm());
    map.push_back(form.locate(piece.arris[i]).uv);
  }
  const auto arc_of = [&](const Vector2d& uv) {
    std::size_t best = 0;
    for (std::size_t i = 0; i < n; ++i) {
      if ((map[i] - uv).norm() < (map[best] - uv).norm()) best = i;
    }
    // The foot on the longer-reaching of the two edges that meet there.
    double place = arc[best];
    for (const std::size_t i : {best, (best + n - 1) % n}) {
      const Vector2d d = map[(i + 1) % n] - map[i];
      const double t = (uv - map[i]).dot(d) / d.squaredNorm();
      if (t > 0 && t < 1) place = arc[i] + t * (arc[i + 1] - arc[i]);
    }
    return place;
  };
  for (const seams::Correction& c : sanding) {
    const double from = arc_of(c.from), whole = arc.back();
    const double length = std::fmod(arc_of(c.to) - from + whole, whole);
    for (std::size_t i = 0; i < n; ++i) {
      const double s = std::fmod(arc[i] - from + whole, whole);
      const double beyond = s <= length ? 0 : std::min(s - length, whole - s);
      const double share = std::max(0.0, 1 - beyond / 3.0);
      taken.depth_mm[i] = std::max(taken.depth_mm[i], c.depth_mm * share);
      taken.ease_deg[i] = std::max(taken.ease_deg[i], c.angle_deg * share);
    }
  }
  return taken;
}

void sand(const geometry::Profile& form, const std::vector<seams::Correction>& sanding, Rulings& piece) {
  const Taken taken = taken_by(form, piece, sanding);
  const Rulings before = piece;
  const std::size_t n = piece.arris.size();
  for (std::size_t i = 0; i < n; ++i) {
    const Vector3d chord = before.arris[(i + 1) % n] - before.arris[(i + n - 1) % n];
    const Vector3d inward = piece.normal.cross(chord).normalized();
    const Vector3d wall = before.root[i] - before.arris[i];
    const double height = -wall.dot(piece.normal), bevel = std::atan2(wall.dot(inward), height);
    const double foot =
        height * (std::tan(bevel + taken.ease_deg[i] * std::numbers::pi / 180) - std::tan(bevel));
    piece.arris[i] += taken.depth_mm[i] * inward;
    piece.root[i] += (taken.depth_mm[i] + foot) * inward;
  }
}

std::map<std::string, Rulings> true_rulings(const TrueShell& shell) {
  std::map<std::string, Rulings> out;
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    const auto& piece = shell.pieces[geometry::TileIndex(i)];
    if (piece) out[shell.labels[i]] = {piece->arris, piece->root, piece->face.normal};
  }
  return out;
}

void carry_out(const TrueShell& shell, const std::vector<seams::Correction>& corrections,
               std::map<std::string, Rulings>& pieces) {
  std::map<std::string, std::vector<seams::Correction>> sanding, moves;
  for (const seams::Correction& c : corrections)
    (c.action == seams::Correction::Action::move ? moves : sanding)[c.tile].push_back(c);
  for (auto& [label, piece] : pieces) {
    const Vector3d centroid = area_centroid(piece);
    if (sanding.contains(label)) sand(shell.plan.profile, sanding[label], piece);
    for (const seams::Correction& c : moves[label]) move(shell.plan.profile.points(), centroid, c, piece);
  }
}

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
