// What work grows with is looked at before the work; what goes into drawings cannot become more than text.
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <numbers>
#include <sstream>

#include "core/errors.h"
#include "layout/form_input.h"
#include "layout/layout.h"
#include "layout/trace.h"
#include "plan/plan.h"
#include "sheets/drawing.h"

namespace interstice {
namespace {

std::string list(const std::vector<Eigen::Vector2d>& points) {
  std::string out = "[";
  for (const auto& p : points) {
    char text[60];
    std::snprintf(text, sizeof text, "%s[%.4f, %.4f]", out.size() > 1 ? ", " : "", p.x(), p.y());
    out += text;
  }
  return out + "]";
}

// (r, z) of a half sphere.
std::vector<Eigen::Vector2d> sphere(double radius_mm, int points) {
  std::vector<Eigen::Vector2d> out;
  for (int i = 0; i < points; ++i) {
    const double t = std::numbers::pi / 2 * i / (points - 1);
    out.emplace_back(radius_mm * std::sin(t), radius_mm * std::cos(t));
  }
  out.front().x() = 0, out.back().y() = 0;
  return out;
}

std::vector<Eigen::Vector2d> star(int points, double low_mm, double high_mm) {
  std::vector<Eigen::Vector2d> out;
  for (int i = 0; i < points; ++i) {
    const double t = 2 * std::numbers::pi * i / points, r = i % 2 ? low_mm : high_mm;
    out.emplace_back(r * std::cos(t), r * std::sin(t));
  }
  return out;
}

std::string refused(const std::string& profile, const std::string& outline, const std::string& label = "L") {
  const std::string text = R"({"units": "mm", "profile": )" + profile +
                           R"(, "tile_thickness": 14, "tiles": [{"label": ")" + label + R"(", "outline": )" +
                           outline + "}]}";
  const auto start = std::chrono::steady_clock::now();
  std::string said;
  try {
    plan::parse_plan(text, "plan.json");
  } catch (const core::InputError& e) {
    said = e.what();
  }
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(20)) << "looked at too late";
  return said;
}

const std::string kProfile = list(sphere(100, 20)), kOutline = "[[0, 0], [20, 0], [20, 20], [0, 20]]";

TEST(Limits, OutlinesOfAPlan) {
  EXPECT_EQ(refused(kProfile, kOutline), "");
  // A star of 400 rays, 90 mm long: 400 x 2 x 75 mm = 60 m of edge.
  EXPECT_EQ(refused(kProfile, list(star(800, 15, 90))),
            "plan.json: tiles[0].outline: the outline is 60 m long, the limit is 10 m");
  EXPECT_EQ(refused(kProfile, list(star(5001, 60, 60))),
            "plan.json: tiles[0].outline: an outline has more than 5000 points");
  EXPECT_EQ(refused(kProfile, list(star(4999, 60, 60))), "");
}

TEST(Limits, ProfileOfAPlan) {
  EXPECT_EQ(refused(list(sphere(100, 5001)), kOutline), "plan.json: profile: has more than 5000 points");
  EXPECT_EQ(refused(list(sphere(100, 4999)), kOutline), "");
  std::vector<Eigen::Vector2d> zigzag{{0, 50}};
  for (int i = 0; i < 300; ++i) zigzag.emplace_back(i % 2 ? 10 : 100, 50 - i / 6.0);
  zigzag.emplace_back(100, 0);
  EXPECT_EQ(refused(list(zigzag), kOutline),
            "plan.json: profile: is 27 m long, the limit is 10 m: a profile is one smooth line");
}

TEST(Limits, LabelsOfAPlan) {
  EXPECT_EQ(refused(kProfile, kOutline, "\xc3\x89t\xc3\xa9 7"), "");
  EXPECT_EQ(refused(kProfile, kOutline, "A\\u202e1"),
            "plan.json: tiles[0].label: holds the invisible or control character U+202E");
  EXPECT_EQ(refused(kProfile, kOutline, "A\\n1"),
            "plan.json: tiles[0].label: holds the invisible or control character U+000A");
  EXPECT_EQ(refused(kProfile, kOutline, "A\\u009b31m"),
            "plan.json: tiles[0].label: holds the invisible or control character U+009B");
}

TEST(Limits, NewLabels) {
  plan::Plan plan;
  plan.tiles.push_back({"P1", 1, {}});
  layout::rename_tiles(plan, "P1, A01\n", "labels");
  EXPECT_EQ(plan.tiles[geometry::TileIndex(0)].label, "A01");
  EXPECT_THROW(layout::rename_tiles(plan,
                                    "A01, B\xe2\x80\xae"
                                    "2\n",
                                    "labels"),
               core::InputError);
}

// A profile drawn more finely than needed is thinned, not refused; one that is no profile is refused.
TEST(Limits, FormsDrawnTooFinely) {
  const auto places = [](std::size_t n) { return std::vector<std::string>(n, "here"); };
  const auto dense = sphere(100, 60001);
  const layout::FormInput form = layout::profile_from_points(dense, places(dense.size()), "form.csv", false);
  EXPECT_LE(form.profile.points().size(), 5000u);
  EXPECT_GT(form.profile.points().size(), 2500u);
  EXPECT_NEAR(form.profile.length(), 100 * std::numbers::pi / 2, 1e-3);
  ASSERT_FALSE(form.notes.empty());
  EXPECT_EQ(form.notes[0], "60001 points were given, of which one in 13 is used");
  std::vector<Eigen::Vector2d> zigzag{{0, 60}};
  for (int i = 0; i < 300; ++i) zigzag.emplace_back(i % 2 ? 10 : 100, 60 - i / 6.0);
  zigzag.emplace_back(100, 0);
  EXPECT_THROW(layout::profile_from_points(zigzag, places(zigzag.size()), "form.csv", false),
               core::InputError);
}

// A metre across in pieces of 6.5 mm would be 37000: said at once.
TEST(Limits, PiecesOfALayout) {
  layout::LayoutOptions options;
  options.gap_mm = 0.5, options.smallest_fill_mm = 0.5;
  options.piece_size_mm = 6.5;
  const geometry::Profile form(sphere(500, 200));
  try {
    layout::check_options(options, form);
    ADD_FAILURE();
  } catch (const core::InputError& e) {
    const std::string line = e.what();  // 2 pi 500^2 / 6.5^2 = 37180
    EXPECT_NE(line.find("pieces of 6.5 mm would be about 371"), std::string::npos) << line;
    EXPECT_NE(line.find("the limit is 1500: take at least 32.4 mm"), std::string::npos) << line;
  }
  options.piece_size_mm = 32.4;
  EXPECT_NO_THROW(layout::check_options(options, form));
}

// Group codes and values of a DXF file are lines: a value with a line end in it would start entities of its
// own.
TEST(Limits, TextInDrawingsStaysText) {
  sheets::Drawing sheet;
  sheet.width_mm = sheet.height_mm = 100;
  const std::string plain_file = (sheet.write({10, 10}, "A01", 5), sheets::write_dxf(sheet));
  sheet.texts[0].text = "A\r\n0\nLINE\n8\n0\n10\n0\n20\n0\n11\n9\n21\n9\n0\nTEXT\n1\nB";
  const std::string file = sheets::write_dxf(sheet);
  const auto lines = [](const std::string& s) { return std::count(s.begin(), s.end(), '\n'); };
  EXPECT_EQ(lines(file), lines(plain_file));
  std::istringstream in(file);
  for (std::string line; std::getline(in, line);) EXPECT_NE(line, "LINE");
  sheet.texts[0].text = "\xc3\x89t\xc3\xa9 \xf0\x9f\x8c\xb2 \xff";
  EXPECT_NE(sheets::write_dxf(sheet).find("\\U+00C9t\\U+00E9 ? ?"), std::string::npos);
}

}  // namespace
}  // namespace interstice
