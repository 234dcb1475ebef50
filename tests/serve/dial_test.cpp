#include "bench/dial.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "bench/dial_drawing.h"

namespace interstice::bench {
namespace {

// As the guide tells to photograph: nine low, nine high between them, two from above.
Dial as_in_the_guide(double turned_deg = 0) {
  Dial dial;
  dial.card_at_twelve = 1;
  for (int i = 0; i < 9; ++i) {
    dial.standpoints.push_back({"low" + std::to_string(i), 40.0 * i + turned_deg, 20, 500});
    dial.standpoints.push_back({"high" + std::to_string(i), 40.0 * i + 20 + turned_deg, 50, 500});
  }
  dial.standpoints.push_back({"above0", 0, 85, 500});
  dial.standpoints.push_back({"above1", 180, 80, 500});
  return dial;
}

TEST(DialTest, TheGuidesTwentyPhotosAreEnough) {
  const ViewCoverage coverage = coverage_of(as_in_the_guide());
  EXPECT_TRUE(coverage.enough);
  EXPECT_TRUE(coverage.missing.empty());
  EXPECT_TRUE(coverage.doubles.empty());
}

TEST(DialTest, EveryOneOfThemIsMissedWhereItWasTaken) {
  const Dial whole = as_in_the_guide();
  for (std::size_t i = 0; i < whole.standpoints.size(); ++i) {
    Dial dial = whole;
    dial.standpoints.erase(dial.standpoints.begin() + static_cast<std::ptrdiff_t>(i));
    const ViewCoverage coverage = coverage_of(dial);
    EXPECT_FALSE(coverage.enough);
    ASSERT_EQ(coverage.missing.size(), 1u) << whole.standpoints[i].photo;
    EXPECT_EQ(coverage.missing[0].level, level_of(whole.standpoints[i].height_deg));
    if (coverage.missing[0].level != Level::above) {
      EXPECT_NEAR(std::remainder(coverage.missing[0].clock_deg - whole.standpoints[i].clock_deg, 360), 0,
                  1e-9);
    }
  }
}

// A gap of 240 degrees wants five more at every 40, a missing ring all nine.
TEST(DialTest, WideGapsAreFilledAtTheRingsStep) {
  Dial dial;
  for (const double clock : {0.0, 40.0, 80.0, 120.0}) dial.standpoints.push_back({"low", clock, 20, 500});
  const ViewCoverage coverage = coverage_of(dial);
  std::vector<double> low, high;
  for (const MissingView& view : coverage.missing) {
    if (view.level == Level::low) low.push_back(view.clock_deg);
    if (view.level == Level::high) high.push_back(view.clock_deg);
  }
  ASSERT_EQ(low.size(), 5u);
  for (std::size_t i = 0; i < low.size(); ++i) EXPECT_NEAR(low[i], 160 + 40.0 * static_cast<double>(i), 1e-9);
  EXPECT_EQ(high.size(), 9u);
}

TEST(DialTest, TurnedOrShuffledItSaysTheSame) {
  std::mt19937 random(4);
  Dial some = as_in_the_guide();
  some.standpoints.resize(7);
  const ViewCoverage before = coverage_of(some);
  for (const double turn : {33.0, 180.0, 359.0, -75.0}) {
    Dial turned = some;
    for (Standpoint& s : turned.standpoints) s.clock_deg += turn;
    std::shuffle(turned.standpoints.begin(), turned.standpoints.end(), random);
    const ViewCoverage after = coverage_of(turned);
    ASSERT_EQ(after.missing.size(), before.missing.size());
    for (const MissingView& view : before.missing) {
      EXPECT_TRUE(std::any_of(after.missing.begin(), after.missing.end(), [&](const MissingView& v) {
        return v.level == view.level &&
               (v.level == Level::above ||
                std::abs(std::remainder(v.clock_deg - view.clock_deg - turn, 360)) < 1e-9);
      }));
    }
  }
}

// Following its advice leads to "enough", from wherever one begins.
TEST(DialTest, ItsAdviceIsEnough) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> clock(0, 360), height(5, 85);
  for (int trial = 0; trial < 50; ++trial) {
    Dial dial;
    for (int i = 0; i < trial % 9; ++i)
      dial.standpoints.push_back({"start", clock(random), height(random), 500});
    int more = 0;
    for (ViewCoverage coverage = coverage_of(dial); !coverage.enough && more < 100;
         coverage = coverage_of(dial), ++more) {
      const MissingView next = coverage.missing[0];
      const double at = next.level == Level::low ? kLowDeg : next.level == Level::high ? kHighDeg : 88;
      dial.standpoints.push_back({"more", next.clock_deg, at, 500});
    }
    EXPECT_LE(more, 20) << trial;
  }
}

TEST(DialTest, TwoFromOnePlaceAreNamed) {
  Dial dial = as_in_the_guide();
  dial.standpoints.push_back({"again", 82, 21, 700});
  const ViewCoverage coverage = coverage_of(dial);
  ASSERT_EQ(coverage.doubles.size(), 1u);
  EXPECT_EQ(coverage.doubles[0], (std::pair<std::string, std::string>{"again", "low2"}));
}

TEST(DialTest, PlacesAreToldAsOnAClock) {
  EXPECT_EQ(words_of({Level::low, 0}), "low, at 12 o'clock");
  EXPECT_EQ(words_of({Level::low, 359}), "low, at 12 o'clock");
  EXPECT_EQ(words_of({Level::high, 90}), "high, at 3 o'clock");
  EXPECT_EQ(words_of({Level::above, 90}), "from above");
}

TEST(DialTest, TheDrawingShowsWhatIsTakenAndWhatIsMissing) {
  Dial dial = as_in_the_guide();
  dial.standpoints.erase(dial.standpoints.begin());
  const std::string svg = dial_svg(dial, coverage_of(dial));
  const auto count = [&](const std::string& what) {
    std::size_t n = 0;
    for (std::size_t at = svg.find(what); at != std::string::npos; at = svg.find(what, at + 1)) ++n;
    return n;
  };
  EXPECT_EQ(count("class=\"taken\""), 19u);
  EXPECT_EQ(count("class=\"wanted\""), 1u);
  EXPECT_NE(svg.find("low, at 12 o'clock"), std::string::npos);
}

}  // namespace
}  // namespace interstice::bench
