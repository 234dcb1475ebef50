#include "sheets/card_sheet.h"

#include <cairo-pdf.h>

#include <memory>
#include <opencv2/aruco.hpp>
#include <stdexcept>
#include <vector>

#include "camera/cards.h"
#include "sheets/drawing.h"

namespace interstice::sheets {

namespace {

constexpr double kBoardLeftMm = (camera::kSheetWidthMm - camera::kBoardColumns * camera::kSquareMm) / 2;
constexpr double kBoardTopMm = (camera::kSheetHeightMm - camera::kBoardRows * camera::kSquareMm) / 2;
constexpr double kTickMm = 5, kFineLineMm = 0.2;

using PageSurface = std::unique_ptr<cairo_surface_t, void (*)(cairo_surface_t*)>;
using PageContext = std::unique_ptr<cairo_t, void (*)(cairo_t*)>;

cairo_status_t append_bytes(void* closure, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

// Black modules of a marker as one path of row and column runs that overlap: a path of single squares would
// show hairlines between them in some viewers.
void add_marker(cairo_t* cr, int id, double left, double top) {
  static const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250);
  const int modules = dictionary->markerSize + 2;
  const double module = camera::kMarkerMm / modules;
  cv::Mat bits;
  cv::aruco::drawMarker(dictionary, id, modules, bits, 1);
  const auto black = [&](int row, int column) { return bits.at<uchar>(row, column) == 0; };
  for (int a = 0; a < modules; ++a) {
    for (int b = 0; b < modules; ++b) {
      int row_end = b, column_end = b;
      if (black(a, b) && (b == 0 || !black(a, b - 1))) {
        while (row_end < modules && black(a, row_end)) ++row_end;
        cairo_rectangle(cr, left + b * module, top + a * module, (row_end - b) * module, module);
      }
      if (black(b, a) && (b == 0 || !black(b - 1, a))) {
        while (column_end < modules && black(column_end, a)) ++column_end;
        cairo_rectangle(cr, left + a * module, top + b * module, module, (column_end - b) * module);
      }
    }
  }
}

void draw_board(cairo_t* cr, int card) {
  for (int row = 0; row < camera::kBoardRows; ++row) {
    for (int column = row % 2; column < camera::kBoardColumns; column += 2) {
      cairo_rectangle(cr, kBoardLeftMm + column * camera::kSquareMm, kBoardTopMm + row * camera::kSquareMm,
                      camera::kSquareMm, camera::kSquareMm);
    }
  }
  const double inset = (camera::kSquareMm - camera::kMarkerMm) / 2;
  for (int marker = 0; marker < camera::kMarkersPerCard; ++marker) {
    const camera::BoardSquare square = camera::marker_square(marker);
    add_marker(cr, camera::kMarkersPerCard * (card - 1) + marker,
               kBoardLeftMm + square.column * camera::kSquareMm + inset,
               kBoardTopMm + square.row * camera::kSquareMm + inset);
  }
  cairo_fill(cr);
}

void draw_line(cairo_t* cr, double x0, double y0, double x1, double y1) {
  cairo_move_to(cr, x0, y0);
  cairo_line_to(cr, x1, y1);
  cairo_stroke(cr);
}

enum class Align { left, middle, right };

void draw_text(cairo_t* cr, const char* text, double x, double baseline, double height_mm, bool bold,
               Align align) {
  cairo_select_font_face(cr, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(cr, height_mm);
  cairo_text_extents_t extents;
  cairo_text_extents(cr, text, &extents);
  if (align == Align::middle) x -= extents.x_advance / 2;
  if (align == Align::right) x -= extents.x_advance;
  cairo_move_to(cr, x, baseline);
  cairo_show_text(cr, text);
}

// Line 150 mm from tick to tick, tick middles at its ends.
void draw_check_line(cairo_t* cr) {
  const double y = camera::kSheetHeightMm - camera::kCheckLineAboveEdgeMm;
  const double x0 = (camera::kSheetWidthMm - camera::kCheckLineMm) / 2, x1 = x0 + camera::kCheckLineMm;
  // Filled, not stroked: printers and viewers may move thin strokes to whole dots.
  cairo_rectangle(cr, x0, y - kFineLineMm / 2, camera::kCheckLineMm, kFineLineMm);
  for (const double x : {x0, x1})
    cairo_rectangle(cr, x - kFineLineMm / 2, y - kTickMm / 2, kFineLineMm, kTickMm);
  cairo_fill(cr);
}

void draw_sheet(cairo_t* cr, int card) {
  cairo_set_source_rgb(cr, 0, 0, 0);
  draw_board(cr, card);
  draw_check_line(cr);
  const std::string label = "CARD " + std::to_string(card);
  draw_text(cr, label.c_str(), kBoardLeftMm, 10.5, 5, true, Align::left);
  draw_text(cr, "Print at 100 % (actual size), not fitted to the page. Matt paper, glued or taped flat.",
            camera::kSheetWidthMm - kBoardLeftMm, 10.5, 2.6, false, Align::right);
  draw_text(
      cr,
      "Check line: 150 mm from tick to tick. Measure it on the print with calipers and give the figure as "
      "--check-line.",
      camera::kSheetWidthMm / 2, camera::kSheetHeightMm - camera::kCheckLineAboveEdgeMm - 3.4, 2.6, false,
      Align::middle);
}

void draw_cut_across(cairo_t* cr, double y, double width) {
  const double dash[] = {2, 2};
  cairo_set_source_rgb(cr, 0.6, 0.6, 0.6);
  cairo_set_line_width(cr, 0.15);
  cairo_set_dash(cr, dash, 2, 0);
  draw_line(cr, 5, y, width - 5, y);
  cairo_set_dash(cr, nullptr, 0, 0);
}

void draw_cut_marks(cairo_t* cr, const SheetPlace& place) {
  cairo_set_source_rgb(cr, 0.6, 0.6, 0.6);
  cairo_set_line_width(cr, 0.15);
  for (const double y : {place.top_mm, place.top_mm + camera::kSheetHeightMm}) {
    draw_line(cr, place.left_mm, y, place.left_mm + 8, y);
    draw_line(cr, place.left_mm + camera::kSheetWidthMm - 8, y, place.left_mm + camera::kSheetWidthMm, y);
  }
}

void draw_page(cairo_t* cr, Paper paper, const std::vector<int>& cards) {
  cairo_save(cr);
  cairo_scale(cr, kPointsPerMm, kPointsPerMm);
  for (const int card : cards) {
    const SheetPlace place = sheet_place(paper, card);
    cairo_save(cr);
    cairo_translate(cr, place.left_mm, place.top_mm);
    draw_sheet(cr, card);
    cairo_restore(cr);
    if (paper == Paper::letter) draw_cut_marks(cr, place);
  }
  const PaperSize size = paper_size(paper);
  if (paper == Paper::a4) draw_cut_across(cr, size.height_mm / 2, size.width_mm);
  cairo_restore(cr);
  cairo_show_page(cr);
}

}  // namespace

PaperSize paper_size(Paper paper) {
  return paper == Paper::a4 ? PaperSize{210, 297} : PaperSize{215.9, 279.4};
}

SheetPlace sheet_place(Paper paper, int card) {
  const PaperSize size = paper_size(paper);
  const double left = (size.width_mm - camera::kSheetWidthMm) / 2;
  if (paper == Paper::letter) return {card - 1, left, 20};
  // Half a millimetre of each half page stays below its sheet.
  return {(card - 1) / 2, left, (card - 1) % 2 * size.height_mm / 2};
}

std::string cards_pdf(Paper paper, int count) {
  if (count < 1 || count > camera::kCards) throw std::invalid_argument("cards are numbered 1 to 12");
  const PaperSize size = paper_size(paper);
  std::string pdf;
  const PageSurface surface(
      cairo_pdf_surface_create_for_stream(append_bytes, &pdf, size.width_mm * kPointsPerMm,
                                          size.height_mm * kPointsPerMm),
      cairo_surface_destroy);
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, "Scale cards");
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATOR, "interstice");
  // A fixed date: the same cards give the same bytes.
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "2000-01-01T00:00:00Z");
  const PageContext cr(cairo_create(surface.get()), cairo_destroy);
  for (int first = 1; first <= count;) {
    std::vector<int> cards;
    for (int card = first; card <= count && sheet_place(paper, card).page == sheet_place(paper, first).page;
         ++card) {
      cards.push_back(card);
    }
    draw_page(cr.get(), paper, cards);
    first += static_cast<int>(cards.size());
  }
  cairo_surface_finish(surface.get());
  if (cairo_status(cr.get()) != CAIRO_STATUS_SUCCESS ||
      cairo_surface_status(surface.get()) != CAIRO_STATUS_SUCCESS) {
    throw std::runtime_error("the cards' PDF cannot be made");
  }
  return pdf;
}

}  // namespace interstice::sheets
