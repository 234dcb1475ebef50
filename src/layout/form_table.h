// A profile from a table: what its heading says of columns, unit and diameters, and its numbers.
//
// Two numbers a line, between them a comma, semicolon, tab or spaces. Decimal commas are understood where
// something else stands between the numbers ("12,5; 30,0", "12,5 30,0"); where only commas stand the line must
// hold two numbers. A heading may name the columns in either order, among others: r, radius or diameter (d);
// z, height (h); with a unit: "diameter (cm)", "z_mm". Lines that begin with '#' are comments.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "layout/form_input.h"

namespace interstice::layout {

struct FormTable {
  std::vector<Eigen::Vector2d> points;  // (r, z), mm
  std::vector<std::string> places;      // "line 12", one a point
  std::vector<std::string> notes;
};

// Throws InputError naming file and line for what is not a number, too many or too few of them, and a heading
// that contradicts `reading`.
FormTable read_form_table(const std::string& text, const std::string& file, const ProfileReading& reading);

}  // namespace interstice::layout
