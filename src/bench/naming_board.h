// The drawing on which pieces or papers are tapped and named, with its keys (page/name.js).
#pragma once

#include <string>

namespace interstice::bench {

struct NamingBoard {
  std::string drawing;   // SVG: pictures, and a group of class "piece" with data-label for each to tap
  std::string view_box;  // mm
  std::string spoken;    // what the drawing is, for those who hear it
  std::string keep;      // what the key that hands the names back says
};
std::string naming_board(const NamingBoard& board);

// One to tap: `path` and the place of its name, mm, y down. `ring`: 0 where nobody knows it yet.
std::string naming_piece(const std::string& label, int ring, const std::string& path, double x, double y);

}  // namespace interstice::bench
