#include "layout/form_input.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>

#include "core/errors.h"
#include "layout/forms.h"
#include "sheets/drawing.h"

namespace interstice {
namespace {

using Eigen::Vector2d;

class FormFiles : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = std::filesystem::temp_directory_path() / ("interstice-forms-" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }
  std::filesystem::path write(const std::string& name, const std::string& text) {
    std::ofstream(folder_ / name) << text;
    return folder_ / name;
  }
  std::string refusal(const std::string& name, const std::string& text,
                      const layout::ProfileReading& reading = {}) {
    try {
      layout::read_form(write(name, text), reading);
    } catch (const core::InputError& e) {
      const std::string line = e.what();
      EXPECT_EQ(line.find('\n'), std::string::npos);
      EXPECT_NE(line.find(name), std::string::npos) << line;
      return line;
    }
    return "accepted";
  }
  std::filesystem::path folder_;
};

constexpr const char* kBowl = "r,z\n0,60\n30,55\n60,35\n75,0\n";

void expect_bowl(const geometry::Profile& p, double tolerance = 1e-6) {
  EXPECT_NEAR(p.points().front().y(), 60, tolerance);
  EXPECT_NEAR(p.points().back().x(), 75, tolerance);
  EXPECT_NEAR(p.points().back().y(), 0, 1e-9);
}

TEST_F(FormFiles, TablesInEveryOrderUnitAndSeparator) {
  expect_bowl(layout::read_form(write("a.csv", kBowl)).profile);
  expect_bowl(layout::read_form(write("b.txt", "# my form\n0 60\n30\t55\n60;35\n75 0\r\n")).profile);
  expect_bowl(layout::read_form(write("rim_first.csv", "75,0\n60,35\n30,55\n0,60\n")).profile);
  expect_bowl(layout::read_form(write("cm.csv", "0,6\n3,5.5\n6,3.5\n7.5,0\n"), {10, false}).profile);
  expect_bowl(layout::read_form(write("dia.csv", "0,60\n60,55\n120,35\n150,0\n"), {1, true}).profile);
  const layout::FormInput lifted = layout::read_form(write("lifted.csv", "0,80\n30,75\n60,55\n75,20\n"));
  expect_bowl(lifted.profile);
  EXPECT_EQ(lifted.notes.size(), 1u);
  const layout::FormInput upright = layout::read_form(write("upright.csv", "0,0\n30,5\n60,25\n75,60\n"));
  expect_bowl(upright.profile);
  EXPECT_NE(upright.notes[0].find("turned over"), std::string::npos);
}

TEST_F(FormFiles, JsonProfiles) {
  expect_bowl(layout::read_form(write("p.json", R"({"profile": [[0,60],[30,55],[60,35],[75,0]]})")).profile);
  expect_bowl(
      layout::read_form(write("f.json", R"({"form_profile": [[0,60],[30,55],[60,35],[75,0]]})")).profile);
}

// One quarter circle of radius 80 in every way a drawing can say it.
void expect_quarter_circle(const geometry::Profile& p, double tolerance) {
  EXPECT_NEAR(p.length(), 40 * std::numbers::pi, 3 * tolerance);
  for (double rho = 0; rho < p.length(); rho += 5) EXPECT_NEAR(p.at(rho).rz.norm(), 80, tolerance);
}

TEST_F(FormFiles, SvgPathsCurvesUnitsAndTransforms) {
  const std::string head =
      R"svg(<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200">)svg";
  expect_quarter_circle(
      layout::read_form(write("arc.svg", head + R"svg(<path d="M50,30 A80 80 0 0 1 130,110"/></svg>)svg"))
          .profile,
      0.05);
  expect_quarter_circle(
      layout::read_form(
          write(
              "rel.svg",
              head + R"svg(<g transform="translate(10 5)"><path d="m40,25a80,80,0,0180,80"/></g></svg>)svg"))
          .profile,
      0.05);
  // A quarter circle by one cubic is known to 0.027 % (k = 0.5522847).
  expect_quarter_circle(
      layout::read_form(
          write("cubic.svg", head + R"svg(<path d="M50 30 C94.182776 30 130 65.817224 130 110"/></svg>)svg"))
          .profile,
      0.05);
  // To the left of the axis, in centimetres.
  expect_quarter_circle(
      layout::read_form(
          write(
              "left.svg",
              R"svg(<svg xmlns="http://www.w3.org/2000/svg" width="20cm" viewBox="0 0 20 20"><path d="M13 3 A8 8 0 0 0 5 11"/></svg>)svg"))
          .profile,
      0.05);
  // Without a view box numbers are CSS pixels of 1/96 inch.
  expect_quarter_circle(
      layout::read_form(
          write(
              "px.svg",
              R"svg(<svg xmlns="http://www.w3.org/2000/svg" width="200mm"><path transform="scale(3.7795275591)" d="M50,30 A80 80 0 0 1 130,110"/></svg>)svg"))
          .profile,
      0.05);
  std::string points;
  for (int i = 0; i <= 40; ++i) {
    points += std::to_string(80 * std::sin(i * std::numbers::pi / 80)) + "," +
              std::to_string(100 - 80 * std::cos(i * std::numbers::pi / 80)) + " ";
  }
  expect_quarter_circle(
      layout::read_form(write("poly.svg", head + "<polyline points=\"" + points + "\"/></svg>")).profile,
      0.05);
}

TEST_F(FormFiles, DxfPolylinesAndLines) {
  sheets::Drawing sheet;
  sheets::DrawnPath path;
  std::string lines = "0\nSECTION\n2\nENTITIES\n";
  for (int i = 0; i <= 60; ++i) {
    const double t = i * std::numbers::pi / 120;
    path.points.emplace_back(20 + 80 * std::sin(t), 150 - 80 * std::cos(t));
  }
  for (int i = 0; i < 60; ++i) {  // every other line drawn backwards
    const Vector2d &a = path.points[static_cast<std::size_t>(i + i % 2)],
                   &b = path.points[static_cast<std::size_t>(i + 1 - i % 2)];
    lines += "0\nLINE\n8\n0\n10\n" + std::to_string(a.x()) + "\n20\n" + std::to_string(-a.y()) + "\n11\n" +
             std::to_string(b.x()) + "\n21\n" + std::to_string(-b.y()) + "\n";
  }
  sheet.paths.push_back(path);
  expect_quarter_circle(layout::read_form(write("poly.dxf", sheets::write_dxf(sheet))).profile, 0.05);
  expect_quarter_circle(layout::read_form(write("lines.dxf", lines + "0\nENDSEC\n0\nEOF\n")).profile, 0.05);
  // A bulge of tan(90/4 degrees) is a quarter circle; the group code 42 stands with its vertex. Left turn
  // from rim to pole.
  expect_quarter_circle(
      layout::read_form(write("bulge.dxf",
                              "0\nSECTION\n2\nENTITIES\n0\nLWPOLYLINE\n8\n0\n90\n2\n70\n0\n10\n80\n"
                              "20\n0\n42\n0.41421356\n10\n0\n20\n80\n0\nENDSEC\n0\nEOF\n"))
          .profile,
      0.05);
}

TEST_F(FormFiles, BadFilesAreRefusedInOneLineSayingWhere) {
  const auto expect = [](const std::string& line, const std::string& part) {
    EXPECT_NE(line.find(part), std::string::npos) << line;
  };
  expect(refusal("x.csv", ""), "no numbers");
  expect(refusal("x.csv", "0,60\n30,fifty\n"), "line 2");
  expect(refusal("x.csv", "0,60\n30,55,1\n"), "line 2");
  expect(refusal("x.csv", "0,60\n30\n"), "line 2");
  expect(refusal("x.csv", "0,60\nnan,3\n75,0\n"), "line 2");
  expect(refusal("x.csv", "12,60\n30,55\n60,35\n75,0\n"), "does not reach the pole");
  expect(refusal("x.csv", "0,6\n3,5.5\n6,3.5\n7.5,0\n"), "wrong units");
  expect(refusal("x.csv", "0,6000\n3000,5500\n7500,0\n"), "wrong units");
  expect(refusal("x.csv", "0,60\n60,55\n30,20\n30,70\n75,0\n"), "crosses itself");
  expect(refusal("x.csv", "0,60\n60,-5\n75,0\n"), "line 2: the profile runs below its rim");
  expect(refusal("x.csv", "0,60\n-30,55\n75,0\n"), "line 2: r must be positive");
  expect(refusal("x.json", "{\"profile\": [[0,1],[2]]}"), "profile[1]");
  expect(refusal("x.svg", "<svg><path"), "not readable as SVG");
  expect(refusal("x.svg", "<svg></svg>"), "no polyline");
  expect(refusal("x.svg", "<svg><path d='M0 0 L50 9 L60 60'/><path d='M0 0 L50 9 L60 60'/></svg>"),
         "2 lines");
  expect(refusal("x.svg", "<svg><path d='M0 0 L50 x'/></svg>"), "\"x");
  expect(refusal("x.svg", "<svg><path d='L50 9 L60 60'/></svg>"), "must begin with M");
  expect(refusal("x.dxf", "hello"), "not a DXF");
  EXPECT_THROW(layout::read_form(folder_ / "missing.csv"), core::InputError);
}

TEST(ProfileFromCloud, FollowsTheFormThroughNoise) {
  const geometry::Profile form = testing_forms::superellipse(90, 60, 2.3);
  std::vector<Eigen::Vector3d> cloud;
  unsigned state = 1;
  const auto random = [&] {
    return static_cast<double>(state = state * 1664525u + 1013904223u) / 4294967296.0 - 0.5;
  };
  for (int i = 0; i < 40000; ++i) {
    const double rho = form.length() * (random() + 0.5), theta = 6.283185 * random();
    cloud.push_back(form.point(rho * Vector2d(std::cos(theta), std::sin(theta)), 0.4 * random()));
  }
  const geometry::Profile found = layout::profile_from_cloud(cloud);
  EXPECT_NEAR(found.length(), form.length(), 1.0);
  for (double rho = 5; rho < form.length() - 5; rho += 4) {
    EXPECT_LT(std::abs(form.locate(found.point({rho, 0})).height), 0.15) << rho;
  }
  EXPECT_THROW(layout::profile_from_cloud({{0, 0, 50}, {1, 0, 50}}), core::MeasureError);
}

}  // namespace
}  // namespace interstice
