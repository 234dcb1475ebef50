// The printable scale cards as a PDF at 1:1.
#pragma once

#include <string>

namespace interstice::sheets {

enum class Paper { a4, letter };

struct PaperSize {
  double width_mm, height_mm;
};
PaperSize paper_size(Paper paper);

// Where a card's sheet (210 x 148 mm, camera/cards.h) lies on its page: A4 takes two above each other with a cut
// between, US Letter (279.4 mm high, less than twice 148) one, with cut marks. From the page's top left
// corner.
struct SheetPlace {
  int page;
  double left_mm, top_mm;
};
SheetPlace sheet_place(Paper paper, int card);

// Cards 1 to `count` (1 to 12). The same bytes for the same arguments on one machine. Throws
// std::invalid_argument for a count out of range and std::runtime_error when the PDF cannot be made.
std::string cards_pdf(Paper paper, int count);

}  // namespace interstice::sheets
