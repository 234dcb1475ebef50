// The layout at 1:1 on paper strips that wrap onto the form, to copy its lines from.
//
// Gores: strips from pole to rim; a place (rho, theta) lies at x = r (theta - theta0), y = rho, so widths
// along the rings and the length of the middle are true. Bands: one strip a course between two rings, each
// the development of the cone through both; lengths along its slant and along its two edges are true.
#pragma once

#include "sheets/drawing.h"
#include "sheets/patterns.h"

namespace interstice::sheets {

// Width of one of `count` gores at arc length rho from the pole.
double gore_width_mm(const geometry::Profile& form, double rho, int count);
// By how much a gore's edge is longer than its middle: what the paper has to give when it is wrapped.
double gore_edge_excess_mm(const geometry::Profile& form, int count);
// The fewest gores (8 to 48, a multiple of 4) whose edges are at most excess_mm longer than their middles.
int gore_count(const geometry::Profile& form, double excess_mm = 1.0);

std::vector<Drawing> draw_gores(const plan::Plan& plan, const SheetSize& sheet, int count);
std::vector<Drawing> draw_bands(const plan::Plan& plan, const SheetSize& sheet);

}  // namespace interstice::sheets
