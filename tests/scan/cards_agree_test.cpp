// Cards that were moved, printed otherwise or photographed through another lens are found out and left out.
#include "scan/cards_agree.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "core/errors.h"
#include "scan/card_scene.h"
#include "scan/photo_focal_check.h"

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using testing_scene::make_scene;
using testing_scene::Scene;

constexpr double kNoise_px = 0.05;

// Takes the corners of the views again for which `change` alters the card's place, its size or the lens.
struct Seen {
  Isometry3d bench_T_card;
  double scale = 1;
  camera::Lens lens;
};

template <class Change>
Scene retaken(Scene s, const Change& change) {
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, kNoise_px);
  for (scan::PhotoCards& photo : s.photos) {
    for (camera::CardView& view : photo.views) {
      Seen seen{s.bench_T_card[std::size_t(view.card - 1)], 1, s.lens};
      if (!change(photo.photo, view.card, seen)) continue;
      for (std::size_t i = 0; i < view.pixel.size(); ++i) {
        view.pixel[i] =
            seen.lens.project(s.camera_T_bench[photo.photo] *
                              (seen.bench_T_card * (seen.scale * camera::card_point(view.corner_id[i])))) +
            Vector2d(noise(random), noise(random));
      }
    }
  }
  return s;
}

// All photos share one lens, as photos of one camera do.
scan::CardSolution solved(const std::vector<scan::PhotoCards>& photos) {
  scan::CardSolution c{scan::poses_from_cards(photos, 1.0), {}, {}, {}};
  c.options.free_lens = false;
  for (scan::LensIndex& lens : c.poses.bundle.lens_of) lens = scan::LensIndex(0);
  c.summary = scan::adjust(c.poses.bundle, c.options);
  return c;
}

scan::AgreedCards agreed(const Scene& s) {
  const auto solve = [](const std::vector<scan::PhotoCards>& photos) {
    scan::CardSolution c{scan::poses_from_cards(photos, 1.0), {}, {}, {}};
    c.options.free_lens = false;
    c.summary = scan::adjust(c.poses.bundle, c.options);
    return c;
  };
  return scan::solve_agreeing_cards(s.photos, 1.0, solve,
                                    [](std::size_t i) { return "photo_" + std::to_string(i); });
}

// Largest error of the camera centres after a rigid motion, mm.
double centre_error(const scan::AgreedCards& a, const Scene& s) {
  const scan::CardPoses& poses = a.solution.poses;
  Eigen::Matrix3Xd got(3, poses.photos.size()), want(3, poses.photos.size());
  for (std::size_t i = 0; i < poses.photos.size(); ++i) {
    got.col(Eigen::Index(i)) = poses.bundle.camera_T_bench[geometry::PhotoIndex(i)].inverse().translation();
    want.col(Eigen::Index(i)) = s.camera_T_bench[poses.photos[i]].inverse().translation();
  }
  const Eigen::Matrix4d rigid = Eigen::umeyama(got, want, false);
  const Eigen::Matrix3Xd moved =
      (rigid.topLeftCorner<3, 3>() * got).colwise() + Vector3d(rigid.topRightCorner<3, 1>());
  return (moved - want).colwise().norm().maxCoeff();
}

TEST(CardsAgree, NothingIsLeftOutOfAGoodScan) {
  const Scene s = make_scene(kNoise_px, 1);
  const scan::AgreedCards a = agreed(s);
  EXPECT_TRUE(a.odd_cards.empty());
  EXPECT_TRUE(a.odd_photos.empty());
  EXPECT_EQ(a.solution.poses.photos.size(), 10u);
  EXPECT_LT(centre_error(a, s), 0.3);
}

// Moved half-way through by little and by much; card 1 is the one all is measured from.
TEST(CardsAgree, AMovedCardIsNamedAndLeftOut) {
  for (const double moved_mm : {1.0, 3.0, 10.0, 40.0}) {
    for (const int moved : {1, 3}) {
      SCOPED_TRACE("card " + std::to_string(moved) + " by " + std::to_string(moved_mm));
      const Scene s = retaken(make_scene(kNoise_px, 1), [&](std::size_t photo, int card, Seen& seen) {
        seen.bench_T_card.translation() += moved_mm * Vector3d(0.6, 0.8, 0);
        return card == moved && photo >= 5;
      });
      const scan::AgreedCards a = agreed(s);
      ASSERT_EQ(a.odd_cards.size(), 1u);
      EXPECT_EQ(a.odd_cards[0].card, moved);
      EXPECT_NE(a.odd_cards[0].reason.find("from photo_5 on"), std::string::npos) << a.odd_cards[0].reason;
      const std::string by = a.odd_cards[0].reason.substr(a.odd_cards[0].reason.find("about ") + 6);
      EXPECT_NEAR(std::stod(by), moved_mm, 0.3) << a.odd_cards[0].reason;
      EXPECT_LT(centre_error(a, s), 0.5);
    }
  }
}

TEST(CardsAgree, APrintOfAnotherScaleIsNamedAndLeftOut) {
  for (const double scale : {0.97, 0.99, 1.01, 1.03}) {
    const Scene s = retaken(make_scene(kNoise_px, 1), [&](std::size_t, int card, Seen& seen) {
      seen.scale = scale;
      return card == 3;
    });
    const scan::AgreedCards a = agreed(s);
    ASSERT_EQ(a.odd_cards.size(), 1u) << scale;
    EXPECT_EQ(a.odd_cards[0].card, 3);
    const std::string& reason = a.odd_cards[0].reason;
    ASSERT_EQ(reason.rfind("is printed ", 0), 0u) << reason;
    EXPECT_NE(reason.find(scale > 1 ? "% larger" : "% smaller"), std::string::npos) << reason;
    EXPECT_NEAR(std::stod(reason.substr(11)), 100 * std::abs(scale - 1), 0.15) << reason;
    EXPECT_LT(centre_error(a, s), 0.5);
  }
}

// Two of four are no majority: nobody can say which half is right.
TEST(CardsAgree, HalfOfTheCardsOddIsRefused) {
  const Scene s = retaken(make_scene(kNoise_px, 1), [&](std::size_t, int card, Seen& seen) {
    seen.scale = 1.01;
    return card <= 2;
  });
  EXPECT_THROW(agreed(s), core::MeasureError);
}

TEST(CardsAgree, APhotoThroughAnotherLensIsNamedAndLeftOut) {
  const Scene s = retaken(make_scene(kNoise_px, 1), [&](std::size_t photo, int, Seen& seen) {
    seen.lens.fx *= 1.1;
    seen.lens.fy *= 1.1;
    return photo == 6;
  });
  const scan::AgreedCards a = agreed(s);
  EXPECT_TRUE(a.odd_cards.empty());
  ASSERT_EQ(a.odd_photos.size(), 1u);
  EXPECT_EQ(a.odd_photos[0].photo, 6u);
  EXPECT_NE(a.odd_photos[0].reason.find("another lens"), std::string::npos);
  EXPECT_LT(centre_error(a, s), 0.3);
}

// Half of the photos through another lens of the same name: refused, not averaged.
TEST(CardsAgree, HalfOfThePhotosOddIsRefused) {
  const Scene s = retaken(make_scene(kNoise_px, 1), [&](std::size_t photo, int, Seen& seen) {
    seen.lens.fx *= 1.1;
    seen.lens.fy *= 1.1;
    return photo % 2 == 1;
  });
  EXPECT_THROW(agreed(s), core::MeasureError);
}

// Photo 6 shows its largest card alone.
Scene one_card_in_photo_6(Scene s) {
  std::vector<camera::CardView>& views = s.photos[6].views;
  const auto largest =
      std::max_element(views.begin(), views.end(), [](const camera::CardView& a, const camera::CardView& b) {
        return a.corner_id.size() < b.corner_id.size();
      });
  views = {*largest};
  return s;
}

Scene photo_6_cut(const Scene& scene, double longer) {
  return retaken(scene, [&](std::size_t photo, int, Seen& seen) {
    seen.lens.fx *= longer;
    seen.lens.fy *= longer;
    return photo == 6;
  });
}

scan::AgreedCards agreed_of_one_lens(const Scene& s) {
  return scan::solve_agreeing_cards(s.photos, 1.0, solved,
                                    [](std::size_t i) { return "photo_" + std::to_string(i); });
}

// A longer lens and a greater distance put one card at the same place and size; its perspective tells them
// apart.
TEST(CardsAgree, APhotoOfOneCardThatWasCutIsNamedAndLeftOut) {
  const Scene s = one_card_in_photo_6(make_scene(kNoise_px, 1));
  EXPECT_TRUE(agreed_of_one_lens(s).odd_photos.empty());
  for (const double longer : {1.1, 0.9, 1.3}) {
    const scan::AgreedCards a = agreed_of_one_lens(photo_6_cut(s, longer));
    EXPECT_TRUE(a.odd_cards.empty()) << longer;
    ASSERT_EQ(a.odd_photos.size(), 1u) << longer;
    EXPECT_EQ(a.odd_photos[0].photo, 6u);
    EXPECT_NE(a.odd_photos[0].reason.find("cropped"), std::string::npos);
    EXPECT_LT(centre_error(a, s), 0.3);
  }
}

// A cut of 4 % hides in one card; without EXIF nothing says that there was none.
TEST(CardsAgree, APhotoOfOneCardWithoutExifIsLeftOut) {
  Scene s = one_card_in_photo_6(make_scene(kNoise_px, 1));
  for (scan::PhotoCards& p : s.photos) p.has_exif = false;
  for (const double longer : {1.0, 1.04}) {
    const scan::AgreedCards a = agreed_of_one_lens(photo_6_cut(s, longer));
    ASSERT_EQ(a.odd_photos.size(), 1u) << longer;
    EXPECT_EQ(a.odd_photos[0].photo, 6u);
    EXPECT_NE(a.odd_photos[0].reason.find("has no EXIF"), std::string::npos) << a.odd_photos[0].reason;
  }
}

// What is left of a photo whose corners were thrown out fits anywhere.
TEST(CardsAgree, APhotoThatLostMostOfItsCornersIsLeftOut) {
  const Scene s = make_scene(kNoise_px, 1);
  const auto solve = [](const std::vector<scan::PhotoCards>& photos) {
    scan::CardSolution c = solved(photos);
    int kept = 0;
    std::erase_if(c.poses.bundle.corners, [&](const scan::CornerObservation& o) {
      return c.poses.photos[o.photo.value] == 3 && ++kept > 4;
    });
    return c;
  };
  const scan::AgreedCards a = scan::solve_agreeing_cards(
      s.photos, 1.0, solve, [](std::size_t i) { return "photo_" + std::to_string(i); });
  ASSERT_EQ(a.odd_photos.size(), 1u);
  EXPECT_EQ(a.odd_photos[0].photo, 3u);
}

TEST(OwnFocus, FindsTheFocalLengthOfAPhotoBeforeKnownCards) {
  const Scene s = make_scene(0, 1);
  for (const Scene& scene : {s, one_card_in_photo_6(s)}) {
    scan::Bundle b = solved(scene.photos).poses.bundle;
    b.lenses[scan::LensIndex(0)].fx /= 1.07;
    b.lenses[scan::LensIndex(0)].fy /= 1.07;
    const scan::OwnFocus own = scan::own_focus(b, geometry::PhotoIndex(6));
    EXPECT_NEAR(own.factor, 1.07, 1e-4);
    EXPECT_LT(own.sd, 0.02);
  }
}

// Each way of bending by as much as is allowed for shifts the focal length by at most a standard deviation.
TEST(OwnFocus, AllowsForSheetsThatAreNotFlat) {
  const Scene flat = one_card_in_photo_6(make_scene(0, 1));
  const scan::Bundle b = solved(flat.photos).poses.bundle;
  for (const int way : {0, 1, 2}) {
    scan::Bundle bent = b;
    for (scan::CornerObservation& o : bent.corners) {
      if (o.photo != geometry::PhotoIndex(6)) continue;
      const double x = o.p_card.x() / (camera::kBoardColumns * camera::kSquareMm / 2),
                   y = o.p_card.y() / (camera::kBoardRows * camera::kSquareMm / 2);
      const Vector3d up(0, 0, scan::kSheetFlat_mm * (way == 0 ? x * x : way == 1 ? y * y : x * y));
      o.pixel = flat.lens.project(b.camera_T_bench[o.photo] * (b.bench_T_card[o.card] * (o.p_card + up)));
    }
    const scan::OwnFocus own = scan::own_focus(bent, geometry::PhotoIndex(6));
    EXPECT_GT(std::abs(own.factor - 1), 1e-5) << way;
    EXPECT_LT(std::abs(own.factor - 1), 1.1 * own.sd) << way;
  }
}

}  // namespace
}  // namespace interstice
