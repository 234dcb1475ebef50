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
  expect_bowl(layout::read_form(write("cm.csv", "0,6\n3,5.5\n6,3.5\n7.5,0\n"), {10.0, false}).profile);
  expect_bowl(layout::read_form(write("dia.csv", "0,60\n60,55\n120,35\n150,0\n"), {1.0, true}).profile);
  const layout::FormInput lifted = layout::read_form(write("lifted.csv", "0,80\n30,75\n60,55\n75,20\n"));
  expect_bowl(lifted.profile);
  EXPECT_EQ(lifted.notes.size(), 1u);
  const layout::FormInput upright = layout::read_form(write("upright.csv", "0,0\n30,5\n60,25\n75,60\n"));
  expect_bowl(upright.profile);
  EXPECT_NE(upright.notes[0].find("turned over"), std::string::npos);
}

TEST_F(FormFiles, HeadingsNameColumnsUnitsAndDiameters) {
  const auto read = [&](const std::string& text, const layout::ProfileReading& reading = {}) {
    return layout::read_form(write("t.csv", text), reading);
  };
  expect_bowl(read("z,r\n60,0\n55,30\n35,60\n0,75\n").profile);
  expect_bowl(read("diameter,height\n0,60\n60,55\n120,35\n150,0\n").profile);
  expect_bowl(read("Diameter (cm);Height (cm)\n0;6\n6;5.5\n12;3.5\n15;0\n").profile);
  expect_bowl(read("height_mm\tradius_mm\tremark\n60\t0\ttop\n55\t30\tx\n35\t60\tx\n0\t75\trim\n").profile);
  expect_bowl(read("My form, turned in oak\nr,z\n0,60\n30,55\n60,35\n75,0\n").profile);
  expect_bowl(read("no,d,z\n1,0,60\n2,60,55\n3,120,35\n4,150,0\n").profile);
  const layout::FormInput halved = read("d,z\n0,60\n60,55\n120,35\n150,0\n", {{}, true});
  expect_bowl(halved.profile);
  EXPECT_EQ(halved.notes.at(0), "the heading says diameter: halved");
  const layout::FormInput unnamed = read("across,up\n0,60\n30,55\n60,35\n75,0\n");
  expect_bowl(unnamed.profile);
  EXPECT_NE(unnamed.notes.at(0).find("names no columns"), std::string::npos);
  const auto expect = [](const std::string& line, const std::string& part) {
    EXPECT_NE(line.find(part), std::string::npos) << line;
  };
  expect(refusal("x.csv", "r,z\n0,60\n30,55\n60,35\n75,0\n", {{}, true}), "the heading says radius");
  expect(refusal("x.csv", "r (cm),z (cm)\n0,6\n3,5\n7,0\n", {25.4, false}),
         "the heading says cm, --unit says in");
  expect(refusal("x.csv", "r (cm),z (mm)\n0,60\n3,55\n7,0\n"), "names two units, cm and mm");
  expect(refusal("x.csv", "no,d,z\n1,0,60\n2,60\n"),
         "line 3: as many numbers are needed as the heading names");
}

TEST_F(FormFiles, DecimalCommasAreUnderstoodOrRefused) {
  const auto bowl = [&](const std::string& text) {
    const geometry::Profile p = layout::read_form(write("t.csv", text)).profile;
    expect_bowl(p);
    EXPECT_NEAR(p.points()[1].x(), 30.5, 1e-9);
  };
  bowl("0;60\n30,5;55,25\n60;35\n75;0\n");
  bowl("r;z\n0,0;60,0\n30,5;55,25\n60;35\n75;0\n");
  bowl("0\t60\n30,5\t55,25\n60\t35\n75\t0\n");
  bowl("0 60\n30,5 55,25\n60 35\n75 0\n");
  bowl("0, 60\n30.5, 55.25\n60, 35\n75, 0\n");
  bowl("0; 60\n30.5; 55.25\n60; 35\n75; 0\n");
  const std::string line = refusal("x.csv", "0,60\n30,5,55,25\n60,35\n75,0\n");
  EXPECT_NE(line.find("line 2: two numbers are needed, r and z, not 4; with decimal commas put a semicolon"),
            std::string::npos)
      << line;
  EXPECT_NE(refusal("x.csv", "0;60\n1.030,5;55\n75;0\n").find("\"1.030,5\" is not a number"),
            std::string::npos);
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

// The quarter circle of radius 80 about (0, 0) as entities of a drawing.
constexpr const char* kHalfArc = "0\nARC\n8\n0\n10\n0\n20\n0\n40\n80\n50\n0\n51\n45\n";
constexpr const char* kOtherHalfAsEllipse =
    "0\nELLIPSE\n8\n0\n10\n0\n20\n0\n11\n80\n21\n0\n40\n1\n41\n0.785398163\n42\n1.570796327\n";
// The same half as a rational quadratic: middle weight cos(22.5 degrees), control point where the tangents meet.
constexpr const char* kOtherHalfAsSpline =
    "0\nSPLINE\n8\n0\n70\n4\n71\n2\n72\n6\n73\n3\n74\n0\n40\n0\n40\n0\n40\n0\n40\n1\n40\n1\n40\n1\n"
    "41\n1\n41\n0.923879533\n41\n1\n10\n56.568542\n20\n56.568542\n30\n0\n10\n33.137085\n20\n80\n30\n0\n"
    "10\n0\n20\n80\n30\n0\n";

std::string drawing_of(const std::string& entities) {
  return "0\nSECTION\n2\nENTITIES\n" + entities + "0\nENDSEC\n0\nEOF\n";
}

TEST_F(FormFiles, DxfArcsEllipsesSplinesAndBlocksJoined) {
  const auto circle = [&](const std::string& text) {
    expect_quarter_circle(layout::read_form(write("x.dxf", text)).profile, 0.05);
  };
  circle(drawing_of(std::string(kHalfArc) + kOtherHalfAsEllipse));
  circle(drawing_of(std::string(kOtherHalfAsEllipse) + kHalfArc));
  circle(drawing_of(std::string(kHalfArc) + kOtherHalfAsSpline));
  // An axis drawn beside it does not count.
  circle(drawing_of(std::string(kHalfArc) + kOtherHalfAsSpline +
                    "0\nLINE\n8\n0\n10\n0\n20\n-20\n11\n0\n21\n70\n"));
  const std::string blocks =
      std::string("0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n8\n0\n2\nform\n70\n0\n10\n5\n20\n0\n") + kHalfArc +
      kOtherHalfAsSpline + "0\nENDBLK\n0\nENDSEC\n";
  circle(blocks + drawing_of("0\nINSERT\n8\n0\n2\nform\n10\n100\n20\n40\n50\n0\n"));
  circle(blocks + "0\nEOF\n");
  // Turned by a quarter the pole is on the side; a drawing that turns its block back is upright again.
  const std::string turned =
      "0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n8\n0\n2\na\n70\n0\n10\n0\n20\n0\n" + std::string(kHalfArc) +
      kOtherHalfAsSpline +
      "0\nENDBLK\n0\nBLOCK\n8\n0\n2\nb\n70\n0\n10\n0\n20\n0\n0\nINSERT\n8\n0\n2\na\n10\n7\n20\n0\n50\n90\n"
      "0\nENDBLK\n0\nENDSEC\n";
  circle(turned + drawing_of("0\nINSERT\n8\n0\n2\nb\n10\n0\n20\n3\n50\n-90\n"));
  // Points that a curve passes through.
  std::string through = "0\nSPLINE\n8\n0\n70\n8\n71\n3\n72\n0\n73\n0\n74\n19\n";
  for (int i = 0; i <= 18; ++i) {
    const double t = i * std::numbers::pi / 36;
    through +=
        "11\n" + std::to_string(80 * std::cos(t)) + "\n21\n" + std::to_string(80 * std::sin(t)) + "\n31\n0\n";
  }
  circle(drawing_of(through));
  const auto expect = [](const std::string& line, const std::string& part) {
    EXPECT_NE(line.find(part), std::string::npos) << line;
  };
  expect(refusal("x.dxf",
                 drawing_of(std::string(kHalfArc) + "0\nARC\n8\n0\n10\n300\n20\n0\n40\n80\n50\n0\n51\n45\n")),
         "2 lines that do not meet");
  // A block within itself, and two that call each other twice: without end.
  const std::string within =
      "0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n8\n0\n2\na\n70\n0\n10\n0\n20\n0\n0\nINSERT\n8\n0\n2\na\n10\n7\n20\n0"
      "\n"
      "0\nINSERT\n8\n0\n2\na\n10\n7\n20\n0\n0\nENDBLK\n0\nENDSEC\n";
  expect(refusal("x.dxf", within + drawing_of("0\nINSERT\n8\n0\n2\na\n10\n0\n20\n0\n")), "nested too deep");
  expect(refusal("x.dxf", drawing_of("0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n80\n")), "holds no line");
}

// An eighth by path, an eighth by path from the other end.
TEST_F(FormFiles, SvgPiecesJoined) {
  expect_quarter_circle(
      layout::read_form(
          write("pieces.svg",
                "<svg width='100mm' viewBox='0 0 100 100'><path d='M80 80 A80 80 0 0 0 56.568542 "
                "23.431458'/><g><path d='M0 0 A80 80 0 0 1 56.568542 23.431458'/></g></svg>"))
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
  expect(refusal("x.svg", "<svg></svg>"), "holds no line");
  expect(refusal("x.svg", "<svg><path d='M0 0 L50 9 L60 60'/><path d='M0 0 L50 9 L60 60'/></svg>"),
         "its line is closed");
  expect(refusal("x.svg", "<svg><path d='M0 0 L50 9 L60 60'/><path d='M0 9 L50 19 L60 70'/></svg>"),
         "2 lines");
  expect(refusal("x.svg", "<svg><path d='M0 0 L50 x'/></svg>"), "\"x");
  expect(refusal("x.svg", "<svg><path d='L50 9 L60 60'/></svg>"), "must begin with M");
  expect(refusal("x.dxf", "hello"), "not a DXF");
  EXPECT_THROW(layout::read_form(folder_ / "missing.csv"), core::InputError);
}

}  // namespace
}  // namespace interstice
