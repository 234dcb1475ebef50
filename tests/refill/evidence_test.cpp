// The witnesses against photos made up here: what each view shows of a cell is written down, not rendered.
#include "refill/resin_evidence.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <random>

#include "channels/true_fit.h"
#include "refill/hollows.h"
#include "refill/plain_resin.h"
#include "refill/seam_states.h"

namespace interstice::refill {
namespace {

using Eigen::Vector3f;

// A true shell's band, and one of its seams with room for a hollow.
struct Shell {
  seams::FitDocument fit;
  plan::Plan plan;
  std::unique_ptr<Band> band;
};

const Shell& plover() {
  static const Shell shell = [] {
    const auto truth = testing::read_true_shell(*testing::scan_folder("plover"));
    Shell s{testing::true_fit(truth), truth.plan, nullptr};
    static seams::FitDocument fit = s.fit;  // the band refers to it
    s.band = std::make_unique<Band>(channels::solids_of(fit, s.plan), fit, 2);
    return s;
  }();
  return shell;
}

constexpr std::size_t kPhotos = 4;

// Colours as code values, B G R.
struct Colours {
  Vector3f resin, wood, floor;
};
constexpr float kGlare = 60;

enum class Shown { resin, glare, dark_floor, walls, walls_over_resin };

// Every cell seen by four photos: resin, but for a stretch of a seam.
BandViews views_of(const Band& band, const Colours& c, const std::vector<char>& there, Shown what,
                   unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<float> noise(0, 2);
  BandViews out;
  out.first.push_back(0);
  for (std::size_t i = 0; i < band.cells().size(); ++i) {
    for (std::size_t p = 0; p < kPhotos; ++p) {
      CellView v;
      v.photo = geometry::PhotoIndex(p);
      v.cosine = 0.9f - 0.1f * static_cast<float>(p);
      Vector3f codes = c.resin;
      if (there[i] && what == Shown::dark_floor) codes = c.floor;
      if (there[i] && what == Shown::walls) codes = p % 2 == 0 ? c.wood : c.floor;
      if (there[i] && what == Shown::walls_over_resin && p % 2 == 0) codes = c.wood;
      if (there[i] && what == Shown::glare && p < 2) {
        // A lamp mirrored: the same light added to every channel, in half of the photos.
        for (Eigen::Index k = 0; k < 3; ++k) codes[k] = code_of(light_of(codes[k]) + light_of(kGlare * 2));
      }
      const BandCell& cell = band.cells()[CellIndex(i)];
      const auto wood = static_cast<float>(0.5 * std::erfc(cell.first_mm / (0.2 * std::sqrt(2.0))));
      for (Eigen::Index k = 0; k < 3; ++k)
        codes[k] = code_of((1 - wood) * light_of(codes[k]) + wood * light_of(c.wood[k]));
      for (Eigen::Index k = 0; k < 3; ++k) codes[k] = std::clamp(codes[k] + noise(random), 0.0f, 255.0f);
      v.codes = codes;
      out.views.push_back(v);
    }
    out.first.push_back(out.views.size());
  }
  return out;
}

// The cells within a few millimetres of a place of a seam.
std::vector<char> stretch(const Band& band, const seams::FitSeam& seam, double half_mm, double* area_mm2) {
  std::vector<char> out(band.cells().size(), 0);
  const auto& middle = seam.samples[seam.samples.size() / 2];
  const Eigen::Vector3d at = (middle.a + middle.b) / 2;
  *area_mm2 = 0;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const BandCell& c = band.cells()[CellIndex(i)];
    if ((c.at - at).norm() > half_mm) continue;
    out[i] = 1;
    *area_mm2 += c.area_mm2;
  }
  return out;
}

const seams::FitSeam& wide_seam(const seams::FitDocument& fit) {
  for (const seams::FitSeam& s : fit.seams) {
    if (s.length_mm > 25 && *s.narrowest_mm > 3 && *s.narrowest_mm < 5) return s;
  }
  throw std::runtime_error("no such seam");
}

std::vector<Patch> found(const Colours& c, Shown what, double* area_mm2, Eigen::Vector3d* at) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  const std::vector<char> there = stretch(*s.band, seam, 4, area_mm2);
  const auto& middle = seam.samples[seam.samples.size() / 2];
  *at = (middle.a + middle.b) / 2;
  const std::vector<std::vector<Vector3f>> wood(s.plan.tiles.size(), std::vector<Vector3f>(kPhotos, c.wood));
  const BandViews views = views_of(*s.band, c, there, what, 5);
  return find_hollows(*s.band, weigh_resin(*s.band, views, wood, kPhotos, 2));
}

const Colours kBlue{{98, 76, 70}, {110, 130, 150}, {40, 26, 22}};
const Colours kBlack{{34, 31, 30}, {80, 100, 125}, {9, 8, 8}};
const Colours kBurntWhite{{254, 254, 254}, {110, 130, 150}, {70, 70, 70}};

TEST(Evidence, StandingResinIsNoHollow) {
  for (const Colours& c : {kBlue, kBlack}) {
    double area = 0;
    Eigen::Vector3d at;
    EXPECT_TRUE(found(c, Shown::resin, &area, &at).empty());
  }
}

TEST(Evidence, MirroredLightIsNoHollow) {
  for (const Colours& c : {kBlue, kBlack}) {
    double area = 0;
    Eigen::Vector3d at;
    EXPECT_TRUE(found(c, Shown::glare, &area, &at).empty());
  }
}

TEST(Evidence, DarkFloorsAndWallsAreHollowsWithTheirArea) {
  for (const Colours& c : {kBlue, kBlack, kBurntWhite}) {
    for (const Shown what : {Shown::dark_floor, Shown::walls}) {
      if (c.resin == kBurntWhite.resin && what == Shown::walls) continue;
      double area = 0;
      Eigen::Vector3d at;
      const std::vector<Patch> patches = found(c, what, &area, &at);
      ASSERT_EQ(patches.size(), 1u) << c.resin.transpose() << " " << static_cast<int>(what);
      EXPECT_NEAR(patches[0].opening_mm2, area, 0.15 * area);
      EXPECT_LT((patches[0].at - at).norm(), 0.5);
      EXPECT_EQ(patches[0].kind, HollowKind::slot);
    }
  }
}

// A shallow floor is as bright as the resin beside it. What else shows the hollow is a wall in the lamp's light: brighter
// than resin mirrors any wood, and of the wood's hue, which pale wood's light hardly differs by from a warm lamp's.
TEST(Evidence, AWallInLightIsNoMirroredLamp) {
  const Colours pale{{50, 49, 49}, {113, 152, 182}, {20, 20, 20}};
  double area = 0;
  Eigen::Vector3d at;
  const std::vector<Patch> patches = found(pale, Shown::walls_over_resin, &area, &at);
  ASSERT_EQ(patches.size(), 1u);
  EXPECT_NEAR(patches[0].opening_mm2, area, 0.2 * area);
  EXPECT_TRUE(found(pale, Shown::glare, &area, &at).empty());
}

TEST(PlainResin, TheDensestPartIsNeitherHollowNorGlare) {
  std::vector<Vector3f> light;
  for (int k = 0; k < 100; ++k)
    light.push_back(Vector3f::Constant(k < 30 ? 0.01f * static_cast<float>(k) / 30 : 0.1f));
  for (int k = 0; k < 25; ++k) light.push_back(Vector3f::Constant(0.2f + 0.02f * static_cast<float>(k)));
  EXPECT_NEAR(densest_part(light)[1], 0.1, 1e-6);
}

// A seam that mirrors less than all about it is plain at its own light, a hollow in it or not.
TEST(PlainResin, ASeamThatMirrorsLessIsLearntByItself) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double area = 0;
  const std::vector<char> hollow = stretch(*s.band, seam, 4, &area);
  Pair pair{};
  for (std::size_t i = 0; i < hollow.size(); ++i) {
    if (hollow[i]) pair = s.band->cells()[CellIndex(i)].pair();
  }
  const std::vector<char> all(hollow.size(), 1);
  std::vector<CellsAndViews> of_photo(1);
  BandViews views;
  views.first.push_back(0);
  for (std::size_t i = 0; i < hollow.size(); ++i) {
    const bool own = s.band->cells()[CellIndex(i)].pair() == pair;
    const float light = own ? (hollow[i] ? 0.02f : 0.075f) : 0.1f;
    views.views.push_back({geometry::PhotoIndex(0), 0.9f, Vector3f::Constant(code_of(light))});
    views.first.push_back(views.views.size());
    of_photo[0].emplace_back(i, i);
  }
  const PlainResin plain = PlainLearner(*s.band, views, of_photo).learn(all, false, 2);
  for (std::size_t i = 0; i < hollow.size(); ++i) {
    if (!hollow[i] || s.band->cells()[CellIndex(i)].pair() != pair) continue;
    ASSERT_NEAR(plain.own[i][0], 0.075, 0.003);
  }
}

// All of the band proved resin, but for a place of one seam.
ResinLook proved_but_for(const std::vector<char>& there, float log_odds) {
  ResinLook look;
  look.cells.assign(there.size(), {-2, 1, 0, 1});
  for (std::size_t i = 0; i < there.size(); ++i) {
    if (there[i]) look.cells[i].log_odds = log_odds;
  }
  return look;
}

SeamState state_of(const seams::FitSeam& seam, const ResinLook& look) {
  const Shell& s = plover();
  for (const RefillSeam& r : seam_states(*s.band, look, find_hollows(*s.band, look), s.fit)) {
    if (r.tiles == seam.tiles) return r.state;
  }
  throw std::runtime_error("no such seam");
}

TEST(SeamStates, FilledOnlyWhereNoHollowWorthCountingHasRoom) {
  const seams::FitSeam& seam = wide_seam(plover().fit);
  double area = 0;
  EXPECT_EQ(state_of(seam, proved_but_for(stretch(*plover().band, seam, 0.8, &area), -0.1f)),
            SeamState::filled);
  EXPECT_LT(area, 3);
  const std::vector<char> there = stretch(*plover().band, seam, 4, &area);
  EXPECT_GT(area, 10);
  EXPECT_EQ(state_of(seam, proved_but_for(there, -0.1f)), SeamState::unseen);
  EXPECT_EQ(state_of(seam, proved_but_for(there, -1)), SeamState::filled);
  EXPECT_EQ(state_of(seam, proved_but_for(there, 2)), SeamState::hollow);
}

TEST(Hollows, AFaintPlaceIsABubbleOnlyWherePlainResinIsAllRound) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double area = 0;
  const std::vector<char> inside = stretch(*s.band, seam, 1.1, &area),
                          round = stretch(*s.band, seam, 3, &area);
  ResinLook look = proved_but_for(inside, 0.6f);
  const std::vector<Patch> alone = find_hollows(*s.band, look);
  ASSERT_EQ(alone.size(), 1u);
  EXPECT_EQ(alone[0].kind, HollowKind::pit);
  EXPECT_NEAR(alone[0].opening_mm2, 3.14 * 1.1 * 1.1, 0.8);
  for (std::size_t i = 0; i < inside.size(); ++i) {
    if (round[i] && !inside[i]) look.cells[i].log_odds = -0.1f;
  }
  EXPECT_TRUE(find_hollows(*s.band, look).empty());
}

// Near one piece of a pair, where the wood's own light hides what is there.
std::vector<char> along_wood(const Band& band, const std::vector<char>& there, geometry::TileIndex piece,
                             double within_mm) {
  std::vector<char> out = there;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const BandCell& c = band.cells()[CellIndex(i)];
    const double off = c.first == piece ? c.first_mm : c.second == piece ? c.second_mm : 1e9;
    out[i] = there[i] && off < within_mm ? 1 : 0;
  }
  return out;
}

// Resin that does not bridge a seam stands in none of its width: what looks like it along the wood is a wall in light.
TEST(Hollows, OneThatFillsMostOfTheWayReachesFromWoodToWood) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double area = 0, hidden = 0;
  const std::vector<char> there = stretch(*s.band, seam, 4, &area);
  geometry::TileIndex piece(0);
  while (s.fit.tiles[piece.value].label != seam.tiles[0]) ++piece.value;
  const std::vector<char> side = along_wood(*s.band, there, piece, 1.2);
  for (std::size_t i = 0; i < side.size(); ++i)
    hidden += side[i] ? s.band->cells()[CellIndex(i)].area_mm2 : 0;
  EXPECT_GT(hidden, 0.2 * area);
  const auto opening = [&](float log_odds) {
    ResinLook look = proved_but_for(there, 2);
    for (std::size_t i = 0; i < side.size(); ++i) {
      if (side[i]) look.cells[i].log_odds = log_odds;
    }
    const std::vector<Patch> patches = find_hollows(*s.band, look);
    return patches.size() == 1 ? patches[0].opening_mm2 : -1;
  };
  EXPECT_NEAR(opening(-0.1f), area, 0.06 * area);
  EXPECT_NEAR(opening(-1), area, 0.06 * area);
}

TEST(Hollows, EndsLieWhereLightIsHalfWayFromResins) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double inner = 0, outer = 0;
  const std::vector<char> there = stretch(*s.band, seam, 4, &inner);
  const std::vector<char> reach = stretch(*s.band, seam, 4.45, &outer);
  EXPECT_GT(outer, 1.08 * inner);
  const auto opening = [&](float shade_at_ends) {
    ResinLook look = proved_but_for(reach, 2);
    for (std::size_t i = 0; i < there.size(); ++i) {
      if (reach[i]) look.cells[i].shade = there[i] ? 0.3f : shade_at_ends;
    }
    const std::vector<Patch> patches = find_hollows(*s.band, look);
    return patches.size() == 1 ? patches[0].opening_mm2 : -1;
  };
  EXPECT_NEAR(opening(0.9f), inner, 0.03 * inner);
  EXPECT_NEAR(opening(0.4f), outer, 0.03 * outer);
}

TEST(Hollows, PartsAreOneWhereNoResinIsProvedBetweenThem) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double area = 0, neck = 0;
  const std::vector<char> all = stretch(*s.band, seam, 7, &area), middle = stretch(*s.band, seam, 2.8, &neck);
  const auto openings = [&](float log_odds) {
    ResinLook look = proved_but_for(all, 2);
    for (std::size_t i = 0; i < all.size(); ++i) {
      if (middle[i]) look.cells[i].log_odds = log_odds;
    }
    std::vector<double> out;
    for (const Patch& p : find_hollows(*s.band, look)) out.push_back(p.opening_mm2);
    return out;
  };
  const std::vector<double> joined = openings(-0.1f), apart = openings(-1);
  ASSERT_EQ(joined.size(), 1u);
  ASSERT_EQ(apart.size(), 2u);
  EXPECT_NEAR(joined[0], apart[0] + apart[1] + neck, 0.1 * area);
}

// What no photo tells of belongs to the hollow beside it, but a short one is no sign for all of a seam.
TEST(Hollows, FollowTheirSeamNoFartherThanTheyAreLong) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  double own = 0, near = 0, all = 0;
  const std::vector<char> there = stretch(*s.band, seam, 3, &own), open = stretch(*s.band, seam, 12, &all);
  stretch(*s.band, seam, 6, &near);
  const auto opening = [&](const std::vector<char>& hollow) {
    ResinLook look = proved_but_for(open, -0.1f);
    for (std::size_t i = 0; i < hollow.size(); ++i) {
      if (hollow[i]) look.cells[i].log_odds = 2;
    }
    const std::vector<Patch> patches = find_hollows(*s.band, look);
    return patches.size() == 1 ? patches[0].opening_mm2 : -1;
  };
  EXPECT_GT(opening(there), near);
  EXPECT_LT(opening(there), 0.8 * all);
  EXPECT_NEAR(opening(stretch(*s.band, seam, 6, &own)), all, 0.1 * all);
}

// The band's area by another way: mouth widths along the seams, against cells of that pair away from junctions.
TEST(Band, CellsAddUpToTheSeamsOpening) {
  const Shell& s = plover();
  const seams::FitSeam& seam = wide_seam(s.fit);
  std::size_t a = 0, b = 0;
  for (std::size_t i = 0; i < s.fit.tiles.size(); ++i) {
    if (s.fit.tiles[i].label == seam.tiles[0]) a = i;
    if (s.fit.tiles[i].label == seam.tiles[1]) b = i;
  }
  const auto& samples = seam.samples;
  const std::size_t from = samples.size() / 3, to = 2 * samples.size() / 3;
  const Eigen::Vector3d p = (samples[from].a + samples[from].b) / 2, q = (samples[to].a + samples[to].b) / 2;
  const Eigen::Vector3d along = (q - p).normalized();
  double by_widths = 0, by_cells = 0;
  for (std::size_t k = from; k < to; ++k) {
    const Eigen::Vector3d m0 = (samples[k].a + samples[k].b) / 2,
                          m1 = (samples[k + 1].a + samples[k + 1].b) / 2;
    by_widths += (m1 - m0).dot(along) * (samples[k].width_mm + samples[k + 1].width_mm) / 2;
  }
  for (const BandCell& c : s.band->cells()) {
    const bool mine =
        (c.first.value == a && c.second.value == b) || (c.first.value == b && c.second.value == a);
    const double t = (c.at - p).dot(along);
    if (mine && t >= 0 && t < (q - p).dot(along)) by_cells += c.area_mm2;
  }
  EXPECT_NEAR(by_cells, by_widths, 0.08 * by_widths);
}

}  // namespace
}  // namespace interstice::refill
