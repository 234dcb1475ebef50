// The printed page itself: rendered to pixels, every card is found and lies where it should, to scale.
#include "sheets/card_sheet.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "camera/cards.h"
#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;

constexpr double kPixelsPerMm = 10;  // 254 dots an inch

bool have_renderer() {
  return std::system("command -v pdftoppm >/dev/null 2>&1") == 0;
}

cv::Mat render_page(const std::filesystem::path& pdf, int page, const TemporaryFolder& folder) {
  const std::string name = (folder / ("page" + std::to_string(page))).string();
  const std::string command = "pdftoppm -r 254 -gray -png -singlefile -f " + std::to_string(page + 1) + " '" +
                              pdf.string() + "' '" + name + "'";
  if (std::system(command.c_str()) != 0) return {};
  return cv::imread(name + ".png", cv::IMREAD_GRAYSCALE);
}

// Middle of the dark stroke that row `y_mm` of the page crosses nearest to `x_mm`, in mm.
double stroke_middle(const cv::Mat& page, double x_mm, double y_mm) {
  const int row = static_cast<int>(y_mm * kPixelsPerMm), from = static_cast<int>((x_mm - 2) * kPixelsPerMm);
  double dark = 0, moment = 0;
  for (int x = from; x <= from + 40; ++x) {
    const double ink = 255 - page.at<uchar>(row, x);
    dark += ink;
    moment += ink * (x + 0.5) / kPixelsPerMm;
  }
  return moment / dark;
}

void check_sheet(const cv::Mat& page, sheets::Paper paper, const camera::CardView& view) {
  const sheets::SheetPlace place = sheets::sheet_place(paper, view.card);
  ASSERT_EQ(view.corner_id.size(), 28u);
  double worst = 0;
  for (std::size_t i = 0; i < 28; ++i) {
    const Eigen::Vector2d seen_mm = (view.pixel[i].array() + 0.5) / kPixelsPerMm;
    const Eigen::Vector3d p = camera::card_point(view.corner_id[i]);
    worst = std::max(
        worst, (seen_mm - Eigen::Vector2d(place.left_mm + 105 + p.x(), place.top_mm + 74 - p.y())).norm());
  }
  EXPECT_LT(worst, 0.05) << "mm, card " << view.card;
  // The check line: 7 mm above the sheet's lower edge, ticks 150 mm apart.
  const double y = place.top_mm + 148 - 7, x = place.left_mm + 30;
  const double left = stroke_middle(page, x, y - 1.5), right = stroke_middle(page, x + 150, y - 1.5);
  EXPECT_NEAR(right - left, 150, 0.05);  // the renderer places edges to a quarter of a pixel, 0.025 mm
  EXPECT_NEAR(left, x, 0.05);
  const cv::Mat column = page.col(static_cast<int>((x + 75) * kPixelsPerMm));
  EXPECT_LT(column.at<uchar>(static_cast<int>(y * kPixelsPerMm)), 128);
  EXPECT_GT(column.at<uchar>(static_cast<int>((y + 1.5) * kPixelsPerMm)), 200);
}

void check_pages(const std::filesystem::path& pdf, sheets::Paper paper, int count) {
  const TemporaryFolder folder;
  std::set<int> cards;
  const int pages = sheets::sheet_place(paper, count).page + 1;
  for (int page = 0; page < pages; ++page) {
    const cv::Mat picture = render_page(pdf, page, folder);
    ASSERT_FALSE(picture.empty());
    EXPECT_NEAR(picture.cols / kPixelsPerMm, sheets::paper_size(paper).width_mm, 0.11);
    EXPECT_NEAR(picture.rows / kPixelsPerMm, sheets::paper_size(paper).height_mm, 0.11);
    for (const camera::CardView& view : camera::detect_cards(picture)) {
      EXPECT_EQ(sheets::sheet_place(paper, view.card).page, page);
      cards.insert(view.card);
      check_sheet(picture, paper, view);
    }
  }
  EXPECT_EQ(static_cast<int>(cards.size()), count);
}

TEST(CardSheet, EveryCardOfEveryPageIsFoundToScale) {
  if (!have_renderer()) GTEST_SKIP() << "pdftoppm (Debian package poppler-utils) is not installed";
  const TemporaryFolder folder;
  write_bytes(folder / "a4.pdf", sheets::cards_pdf(sheets::Paper::a4, 12));
  check_pages(folder / "a4.pdf", sheets::Paper::a4, 12);
  write_bytes(folder / "letter.pdf", sheets::cards_pdf(sheets::Paper::letter, 3));
  check_pages(folder / "letter.pdf", sheets::Paper::letter, 3);
}

TEST(CardSheet, ReadyMadeCopiesAreFoundToScale) {
  if (!have_renderer()) GTEST_SKIP() << "pdftoppm (Debian package poppler-utils) is not installed";
  const std::filesystem::path calib = std::filesystem::path(INTERSTICE_SOURCE_DIR) / "calib";
  check_pages(calib / "cards-a4.pdf", sheets::Paper::a4, 6);
  check_pages(calib / "cards-letter.pdf", sheets::Paper::letter, 6);
}

TEST(CardSheet, SheetsLieWhollyOnTheirPages) {
  for (const sheets::Paper paper : {sheets::Paper::a4, sheets::Paper::letter}) {
    for (int card = 1; card <= 12; ++card) {
      const sheets::SheetPlace place = sheets::sheet_place(paper, card);
      EXPECT_GE(place.left_mm, 0);
      EXPECT_GE(place.top_mm, 0);
      EXPECT_LE(place.left_mm + 210, sheets::paper_size(paper).width_mm + 1e-9);
      EXPECT_LE(place.top_mm + 148, sheets::paper_size(paper).height_mm + 1e-9);
    }
  }
}

TEST(CardSheet, SameArgumentsSameBytes) {
  EXPECT_EQ(sheets::cards_pdf(sheets::Paper::a4, 3), sheets::cards_pdf(sheets::Paper::a4, 3));
  EXPECT_NE(sheets::cards_pdf(sheets::Paper::a4, 3), sheets::cards_pdf(sheets::Paper::a4, 4));
  EXPECT_THROW(sheets::cards_pdf(sheets::Paper::a4, 0), std::invalid_argument);
  EXPECT_THROW(sheets::cards_pdf(sheets::Paper::a4, 13), std::invalid_argument);
}

}  // namespace
}  // namespace interstice
