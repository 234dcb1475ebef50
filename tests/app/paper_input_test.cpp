// `plan paper` as a user runs it: a flatbed picture drawn by the test, named and laid; and every way to get it wrong.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "app/run_program.h"
#include "layout/flatbed.h"
#include "layout/forms.h"
#include "layout/layout.h"
#include "layout/paper_names.h"
#include "plan/plan.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

class PaperInput : public testing::Test {
 protected:
  // A small bowl in two rings and a cap, its cells cut along their lines.
  static void SetUpTestSuite() {
    folder_ = fs::path(testing::TempDir()) / ("interstice_papers_" + std::to_string(::getpid()));
    fs::create_directories(folder_);
    const geometry::Profile form = testing_forms::superellipse(62, 50, 2);
    layout::LayoutOptions options;
    options.piece_size_mm = 45;
    const layout::Layout layout = layout::make_layout(form, options);
    std::vector<geometry::Polygon> papers;
    for (const geometry::Polygon& cell : layout.cells.cells) papers.push_back(flatbed::flattened(form, cell));
    flatbed::SheetOptions sheet_options;
    sheet_options.dpi = 200;
    const flatbed::Sheet sheet = flatbed::scanned(papers, sheet_options);
    cv::imwrite(path("scan.png"), sheet.picture.bgr);
    cv::Mat plain(300, 400, CV_8UC3, cv::Scalar(70, 60, 45));
    cv::imwrite(path("plain.png"), plain);
    plan::Plan bare = layout.plan;
    bare.tiles = {};
    std::ofstream form_file(path("form.csv"));
    form_file << "r,z\n";
    for (const Eigen::Vector2d& p : form.points()) form_file << p.x() << "," << p.y() << "\n";
    // Papers stand in the picture in the order given, row by row, unless a row's heights disagree: by place.
    const layout::PaperPage page = layout::read_papers(sheet.picture, 150);
    std::ofstream labels(path("labels.csv"));
    pieces_ = layout.plan.tiles.size();
    for (std::size_t i = 0; i < pieces_; ++i) {
      std::size_t nearest = 0;
      double best = 1e9;
      for (std::size_t k = 0; k < page.pieces.size(); ++k) {
        const double d = (geometry::centroid(page.pieces[k].outline_px) - sheet.middles_px[i]).norm();
        if (d < best) best = d, nearest = k;
      }
      labels << layout::proposed_name(nearest) << ", " << layout.plan.tiles[geometry::TileIndex(i)].label
             << "\n";
    }
  }
  static void TearDownTestSuite() { fs::remove_all(folder_); }
  static std::string path(const std::string& name) { return (folder_ / name).string(); }

  static Ran paper(const std::string& arguments) {
    return run_program(
        "plan paper " + arguments + " --form " + path("form.csv") + " --out " + path("plan.json"),
        folder_.string());
  }
  static void refused(const std::string& arguments, const std::string& says, int exit_code = 2) {
    fs::remove(path("plan.json"));
    const Ran ran = paper(arguments);
    EXPECT_EQ(ran.exit_code, exit_code) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_NE(ran.err.find(says), std::string::npos) << ran.err;
    EXPECT_FALSE(fs::exists(path("plan.json")));
  }
  static std::string labels(const std::string& text) {
    std::ofstream(path("other.csv")) << text;
    return path("scan.png") + " --check-line 150 --labels " + path("other.csv");
  }

  static fs::path folder_;
  static std::size_t pieces_;
};
fs::path PaperInput::folder_;
std::size_t PaperInput::pieces_ = 0;

TEST_F(PaperInput, NumberedNamedAndLaid) {
  const Ran numbered = paper(path("scan.png") + " --check-line 150 --numbered " + path("papers.svg"));
  EXPECT_EQ(numbered.exit_code, 1) << numbered.err;
  EXPECT_NE(numbered.out.find("no plan yet: the papers have numbers, P01 to P"), std::string::npos)
      << numbered.out;
  EXPECT_FALSE(fs::exists(path("plan.json")));
  const std::string svg = slurp(path("papers.svg"));
  EXPECT_NE(svg.find(">" + layout::proposed_name(pieces_ - 1) + "<"), std::string::npos);
  EXPECT_NE(svg.find("data:image/jpeg;base64,"), std::string::npos);

  const Ran laid = paper(path("scan.png") + " --check-line 150 --labels " + path("labels.csv") + " --json");
  EXPECT_EQ(laid.exit_code, 0) << laid.err << laid.out;
  const auto document = nlohmann::json::parse(laid.out);
  EXPECT_EQ(document["pieces"], pieces_);
  EXPECT_EQ(document["lines"], "shared");
  const plan::Plan plan = plan::read_plan(path("plan.json"));
  ASSERT_EQ(plan.tiles.size(), pieces_);
  EXPECT_EQ(plan.tiles[geometry::TileIndex(0)].label, "A01");
  fs::remove(path("plan.json"));
}

// The page to tap papers on; left with what belongs to it for tests/serve/papers_test.mjs.
TEST_F(PaperInput, APageToTapThePapersOn) {
  const fs::path left = fs::path(INTERSTICE_RESULTS) / "papers";
  fs::create_directories(left);
  for (const char* file : {"scan.png", "form.csv", "labels.csv"})
    fs::copy_file(path(file), left / file, fs::copy_options::overwrite_existing);
  fs::remove(left / "papers.html");
  const Ran ran = paper(path("scan.png") + " --check-line 150 --numbered " + (left / "papers.html").string());
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  EXPECT_NE(ran.out.find("papers.html, and give the file it makes with --labels"), std::string::npos)
      << ran.out;
  const std::string page = slurp((left / "papers.html").string());
  std::size_t papers = 0;
  for (std::size_t at = page.find("<g class=\"piece\""); at != std::string::npos;
       at = page.find("<g class=\"piece\"", at + 1))
    ++papers;
  EXPECT_EQ(papers, pieces_);
  EXPECT_NE(page.find("default-src 'none'"), std::string::npos);
  EXPECT_EQ(page.find("src=\"/"), std::string::npos) << "it loads nothing";
  // Written again over itself; never over somebody's own page.
  EXPECT_EQ(
      paper(path("scan.png") + " --check-line 150 --numbered " + (left / "papers.html").string()).exit_code,
      1);
  std::ofstream(path("own.html")) << "<html>mine</html>";
  refused(path("scan.png") + " --check-line 150 --numbered " + path("own.html"), "own.html");
}

// Two papers of the lowest ring take each other's names: they do not fit where they are said to stand.
TEST_F(PaperInput, PapersWithEachOthersNamesAreToldOf) {
  std::string text = slurp(path("labels.csv"));
  const std::size_t two = text.find("A02"), five = text.find("A05");
  ASSERT_NE(two, std::string::npos);
  ASSERT_NE(five, std::string::npos);
  text.replace(two, 3, "A05").replace(five, 3, "A02");
  const Ran ran = paper(labels(text) + " --json");
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  const std::string told = nlohmann::json::parse(ran.out)["look_again"].dump();
  EXPECT_NE(told.find("A02: fits its neighbours only to"), std::string::npos) << told;
  EXPECT_NE(told.find("A05: fits its neighbours only to"), std::string::npos) << told;
  fs::remove(path("plan.json"));
}

TEST_F(PaperInput, TheCheckLineIsHeldAgainstTheResolution) {
  // 150 mm at 200 dots an inch; read as 300 a line of 150 mm would be half as long again.
  refused(path("scan.png") + " --check-line 150 --dpi 300", "scan.png: its check line is 1181 pixels long");
  refused(path("scan.png") + " --check-line 156 --dpi 200",
          "3.8 % more; measure the line again, or say --dpi");
  fs::remove(path("plan.json"));
  EXPECT_EQ(paper(path("scan.png") + " --check-line 153 --dpi 200").exit_code,
            1);  // 2 %: the line is believed
}

TEST_F(PaperInput, PicturesThatTellNothing) {
  refused(path("plain.png") + " --check-line 150", "plain.png: no check line found");
  refused(path("form.csv") + " --check-line 150", "form.csv");
  refused(path("missing.png") + " --check-line 150", "missing.png");
  refused(path("scan.png") + " --check-line 15", "check-line");
  refused(path("scan.png"), "check-line");
  refused(path("scan.png") + " --check-line 600", "is too coarse");
}

TEST_F(PaperInput, NamesThatDoNotFit) {
  refused(labels("P01\n"), "other.csv: line 1: needs a paper's number and its label");
  refused(labels("P99, A01\n"), "line 1: no paper is numbered \"P99\"");
  refused(labels("P01, A01\nP02, A01\n"), "line 2: the label \"A01\" stands twice");
  refused(labels("P01, A01\nP01, A02\n"), "line 2: P01 stands twice");
  refused(labels("P01, 7\n"), "line 1: the label does not begin with its ring's letter");
  refused(labels("P01, A01, x\n"), "line 1: the ring must be a number from 1 to 40");
  refused(labels("P01, B01\n"), "ring 1 has no paper, but ring 2 has");
  refused(labels("# nothing\n"), "names no paper");
  // Three papers do not reach round.
  refused(labels("P01, A01\nP02, A02\nP03, A03\n"), "too narrow to stand side by side round this form", 3);
}

}  // namespace
}  // namespace interstice
