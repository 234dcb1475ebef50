// Cutting patterns as they come out of a printer: the PDF is rendered at 600 dots per inch by another
// program's renderer (pdftoppm of Poppler; the test is skipped where it is not installed) and measured.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <map>
#include <numeric>
#include <regex>

#include "core/errors.h"
#include "core/files.h"
#include "geometry/region.h"
#include "layout/form_input.h"
#include "layout/forms.h"
#include "layout/layout.h"
#include "sheets/patterns.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using Eigen::Vector2d;

struct Made {
  plan::Plan plan;
  std::vector<solid::PieceBody> bodies;
  std::vector<solid::PieceGeometry> pieces;
};

const Made& small_bowl() {
  static const Made made = [] {
    layout::LayoutOptions options;
    options.name = "plum";
    options.piece_size_mm = 48;
    options.tile_thickness_mm = 12;
    Made m;
    m.plan = layout::make_layout(testing_forms::superellipse(90, 70, 2), options).plan;
    m.bodies = solid::planned_bodies(m.plan);
    m.pieces = solid::piece_geometries(m.plan, m.bodies);
    return m;
  }();
  return made;
}

sheets::Patterns patterns_of(const sheets::PatternOptions& options = {}) {
  return sheets::make_patterns(small_bowl().plan, small_bowl().bodies, small_bowl().pieces, options);
}

struct Grey {
  int width = 0, height = 0;
  std::string pixels;
  double at(double x, double y) const {  // bilinear, pixel centres at whole numbers
    const int ix = static_cast<int>(std::floor(x)), iy = static_cast<int>(std::floor(y));
    if (ix < 0 || iy < 0 || ix + 1 >= width || iy + 1 >= height) return 255;
    const auto p = [&](int c, int r) {
      return static_cast<double>(
          static_cast<unsigned char>(pixels[static_cast<std::size_t>(r) * static_cast<std::size_t>(width) +
                                            static_cast<std::size_t>(c)]));
    };
    const double fx = x - ix, fy = y - iy;
    return (1 - fy) * ((1 - fx) * p(ix, iy) + fx * p(ix + 1, iy)) +
           fy * ((1 - fx) * p(ix, iy + 1) + fx * p(ix + 1, iy + 1));
  }
};

Grey read_pgm(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::string magic;
  int most = 0;
  Grey g;
  in >> magic >> g.width >> g.height >> most;
  in.get();
  g.pixels.resize(static_cast<std::size_t>(g.width) * static_cast<std::size_t>(g.height));
  in.read(g.pixels.data(), static_cast<std::streamsize>(g.pixels.size()));
  return g;
}

// Where the outline wanted for a piece lies on its sheet, from the face and the placement alone.
std::vector<Vector2d> wanted_outline(const sheets::Patterns& patterns, std::size_t i) {
  const layout::Placement& p = patterns.nesting.placements[i];
  const double t = p.turn_deg * std::numbers::pi / 180;
  std::vector<Vector2d> out;
  for (const Vector2d& q : small_bowl().bodies[i].face.outline) {
    const Vector2d down(q.x(), -q.y());
    out.emplace_back(std::cos(t) * down.x() - std::sin(t) * down.y() + p.shift.x() + 10,
                     std::sin(t) * down.x() + std::cos(t) * down.y() + p.shift.y() + 26);
  }
  return out;
}

// Signed distance from a wanted point, along the normal, to the middle of the dark line there.
double line_error_mm(const Grey& page, const Vector2d& at, const Vector2d& normal, double dots_per_mm) {
  double weight = 0, sum = 0;
  for (double d = -0.45; d <= 0.45; d += 0.01) {
    const Vector2d px = (at + d * normal) * dots_per_mm - Vector2d(0.5, 0.5);
    const double dark = 255 - page.at(px.x(), px.y());
    weight += dark, sum += dark * d;
  }
  return weight > 800 ? sum / weight : 99;
}

// Whether a drawn line other than a piece's outline passes so near that it would be taken for part of it.
bool near_a_mark(const sheets::Drawing& sheet, const Vector2d& at) {
  for (const sheets::DrawnPath& path : sheet.paths) {
    if (!path.id.empty()) continue;
    for (std::size_t i = 1; i < path.points.size(); ++i) {
      const Vector2d a = path.points[i - 1], d = path.points[i] - a;
      const double t = std::clamp((at - a).dot(d) / std::max(1e-12, d.squaredNorm()), 0.0, 1.0);
      if ((a + t * d - at).norm() < 0.7) return true;
    }
  }
  return false;
}

TEST(PatternPdf, EveryOutlineWithinATenthOfAMillimetreAt600Dpi) {
  if (std::system("pdftoppm -v > /dev/null 2>&1") != 0) GTEST_SKIP() << "pdftoppm is not installed";
  const sheets::Patterns patterns = patterns_of();
  const fs::path folder = fs::temp_directory_path() / ("interstice-pdf-" + std::to_string(::getpid()));
  fs::create_directories(folder);
  core::write_file_atomically(folder / "p.pdf", sheets::write_pdf(patterns.sheets, "patterns"));
  const double dots_per_mm = 600 / 25.4;
  double worst = 0;
  int measured = 0, asked = 0;
  for (std::size_t k = 0; k < patterns.sheets.size(); ++k) {
    const std::string page = std::to_string(k + 1);
    ASSERT_EQ(std::system(("pdftoppm -r 600 -gray -singlefile -f " + page + " -l " + page + " " +
                           (folder / "p.pdf").string() + " " + (folder / "page").string())
                              .c_str()),
              0);
    const Grey picture = read_pgm(folder / "page.pgm");
    EXPECT_NEAR(picture.width, 210 * dots_per_mm, 1.01);
    EXPECT_NEAR(picture.height, 297 * dots_per_mm, 1.01);
    for (std::size_t i = 0; i < patterns.nesting.placements.size(); ++i) {
      if (patterns.nesting.placements[i].sheet != k) continue;
      const std::vector<Vector2d> outline = wanted_outline(patterns, i);
      const std::size_t n = outline.size();
      for (std::size_t j = 0; j < n; j += 2) {
        ++asked;
        if (near_a_mark(patterns.sheets[k], outline[j]))
          continue;  // two lines meet at the ticks of the corners
        const Vector2d along = (outline[(j + 1) % n] - outline[(j + n - 1) % n]).normalized();
        const double error = line_error_mm(picture, outline[j], {along.y(), -along.x()}, dots_per_mm);
        EXPECT_LT(std::abs(error), 0.1) << small_bowl().plan.tiles[geometry::TileIndex(i)].label;
        worst = std::max(worst, std::abs(error));
        ++measured;
      }
    }
  }
  fs::remove_all(folder);
  RecordProperty("worst_um", static_cast<int>(1000 * worst));
  EXPECT_GT(measured, 1000);
  EXPECT_GT(measured, 0.9 * asked);
}

TEST(Patterns, NothingTouchesAndAllIsOnTheSheet) {
  sheets::PatternOptions options;
  options.spacing_mm = 4;
  const sheets::Patterns patterns = patterns_of(options);
  std::map<std::size_t, geometry::Region> by_sheet;
  for (std::size_t i = 0; i < small_bowl().bodies.size(); ++i) {
    geometry::Polygon outline = wanted_outline(patterns, i);
    std::reverse(outline.begin(), outline.end());
    if (geometry::signed_area(outline) < 0) std::reverse(outline.begin(), outline.end());
    for (const Vector2d& p : outline) {
      EXPECT_GT(p.minCoeff(), 9);
      EXPECT_LT(p.x(), 201);
      EXPECT_LT(p.y(), 275);
    }
    by_sheet[patterns.nesting.placements[i].sheet].push_back(outline);
  }
  for (const auto& [sheet, outlines] : by_sheet) {
    double sum = 0;
    geometry::Region grown;
    for (const geometry::Polygon& outline : outlines) {
      grown.push_back(geometry::largest(geometry::offset_round({outline}, options.spacing_mm / 2 - 0.01)));
      sum += geometry::signed_area(grown.back());
    }
    EXPECT_NEAR(geometry::area(geometry::united(grown)), sum, 1e-3) << "sheet " << sheet;
  }
}

TEST(Patterns, EveryEdgeNamesANeighbourThatNamesItBackWithTheSameBevel) {
  const Made& m = small_bowl();
  int edges = 0;
  for (std::size_t i = 0; i < m.pieces.size(); ++i) {
    double length = 0;
    for (const solid::PieceEdge& e : m.pieces[i].edges) {
      length += e.length_mm;
      if (e.faces != solid::EdgeFaces::piece || e.length_mm < 6) continue;
      ++edges;
      bool back = false;
      for (const solid::PieceEdge& f : m.pieces[e.neighbour.value].edges) {
        if (f.faces != solid::EdgeFaces::piece || f.neighbour.value != i) continue;
        back = true;
        EXPECT_NEAR(f.bevel_deg, e.bevel_deg, 1.0);
      }
      EXPECT_TRUE(back) << m.plan.tiles[geometry::TileIndex(i)].label << " "
                        << m.plan.tiles[e.neighbour].label;
      EXPECT_LE(e.bevel_deg, m.pieces[i].recommended_bevel_deg + 0.06);
    }
    EXPECT_NEAR(length, geometry::perimeter(m.bodies[i].face.outline), 1e-6);
    if (m.plan.tiles[geometry::TileIndex(i)].ring == 1) {
      EXPECT_TRUE(std::any_of(m.pieces[i].edges.begin(), m.pieces[i].edges.end(),
                              [](const solid::PieceEdge& e) { return e.faces == solid::EdgeFaces::rim; }))
          << m.plan.tiles[geometry::TileIndex(i)].label;
    }
  }
  EXPECT_GT(edges, 60);
}

TEST(Patterns, SheetsSayWhatTheSawNeeds) {
  sheets::PatternOptions options;
  options.kerf_mm = 2;  // has the longer lines
  const sheets::Patterns patterns = patterns_of(options);
  std::string all;
  for (const auto* sheets : {&patterns.sheets, &patterns.cutting_list}) {
    for (const sheets::Drawing& sheet : *sheets) {
      for (const sheets::DrawnText& text : sheet.texts) {
        all += text.text + "\n";
        EXPECT_GE(text.height_mm, 1.5) << text.text;
        EXPECT_LE(text.at.x() + (text.anchor == sheets::Anchor::left && text.angle_deg == 0
                                     ? sheets::text_width_mm(text.text, text.height_mm, text.bold)
                                     : 0),
                  sheet.width_mm - 5)
            << text.text;
      }
    }
  }
  for (const char* part :
       {"check line 150 mm", "outer face", "grain", "100 %", "dust", "guard", "A01", "rim"}) {
    EXPECT_NE(all.find(part), std::string::npos) << part;
  }
}

TEST(Patterns, SvgAndDxfHoldTheSameOutlines) {
  const sheets::Patterns patterns = patterns_of();
  const std::string svg = sheets::write_svg(patterns.sheets[0], "t");
  EXPECT_NE(svg.find("width=\"210mm\" height=\"297mm\" viewBox=\"0 0 210 297\""), std::string::npos);
  const sheets::DrawnPath& path = patterns.sheets[0].paths[std::size_t{3}];
  ASSERT_EQ(path.layer, "cut");
  const std::regex one("id=\"" + path.id +
                       "\" class=\"cut\" d=\"M([0-9.-]+),([0-9.-]+) L([0-9.-]+),([0-9.-]+)");
  std::smatch match;
  ASSERT_TRUE(std::regex_search(svg, match, one));
  EXPECT_NEAR(std::stod(match[1]), path.points[0].x(), 6e-4);
  EXPECT_NEAR(std::stod(match[4]), path.points[1].y(), 6e-4);
  sheets::Drawing single;
  single.paths.push_back(path);
  const fs::path file = fs::temp_directory_path() / ("interstice-" + std::to_string(::getpid()) + ".dxf");
  core::write_file_atomically(file, sheets::write_dxf(single));
  const layout::DrawnProfile back = layout::read_dxf_profile(file);
  fs::remove(file);
  ASSERT_EQ(back.points.size(), path.points.size());
  EXPECT_EQ(back.unit_mm, 1.0);
  for (std::size_t i = 0; i < path.points.size(); ++i) {
    EXPECT_NEAR(back.points[i].x(), path.points[i].x(), 1e-6);
    EXPECT_NEAR(back.points[i].y(), single.height_mm - path.points[i].y(), 1e-6);
  }
}

TEST(Patterns, KerfMovesTheBladeByHalfItsWidth) {
  sheets::PatternOptions options;
  options.kerf_mm = 2;
  const sheets::Patterns patterns = patterns_of(options);
  for (const sheets::Drawing& sheet : patterns.sheets) {
    const sheets::DrawnPath* piece = nullptr;
    for (const sheets::DrawnPath& path : sheet.paths) {
      if (path.layer == "cut") {
        ASSERT_NE(piece, nullptr);
        const double grown =
            std::abs(geometry::signed_area(path.points)) - std::abs(geometry::signed_area(piece->points));
        EXPECT_NEAR(grown, geometry::perimeter(piece->points) * 1 + std::numbers::pi,
                    0.05);  // Steiner: convex, distance 1
      }
      if (!path.id.empty()) piece = &path;
    }
  }
}

TEST(Patterns, SameInputSameBytesAndTooSmallSheetsAreNamed) {
  EXPECT_EQ(sheets::write_pdf(patterns_of().sheets, "t"), sheets::write_pdf(patterns_of().sheets, "t"));
  sheets::PatternOptions options;
  options.sheet = sheets::parse_sheet("80x85");
  try {
    patterns_of(options);
    FAIL();
  } catch (const core::InputError& e) {
    EXPECT_NE(std::string(e.what()).find("does not fit a sheet of 80x85"), std::string::npos) << e.what();
  }
  EXPECT_THROW(sheets::parse_sheet("a9"), core::InputError);
  EXPECT_THROW(sheets::parse_sheet("10x10"), core::InputError);
  EXPECT_THROW(sheets::parse_sheet("600x150x3"), core::InputError);
  EXPECT_DOUBLE_EQ(sheets::parse_sheet("Letter").width_mm, 215.9);
}

}  // namespace
}  // namespace interstice
