// A layout whose flat backs sit on the form: piece size, thickness and form judged together.
//
// Model. A flat back of width w on a curve of radius r stands w^2 / (8 r) off it: what stands under a back grows
// with the square of the piece's size. So the size that sits follows from a layout that does not, and one or two
// layouts later it is found. The back's edge reaches further than the drawn piece's where walls slope inwards
// less than the form's normals do; that is why whole layouts are looked at and not the curve alone.
#pragma once

#include "layout/layout.h"
#include "layout/plan_check.h"

namespace interstice::layout {

// The largest gap between flat back and form of a plan's pieces, either way, mm.
double largest_rocking_mm(const plan::Plan& plan);

// The piece size that would just sit, mm, from a layout of another size.
double size_that_sits_mm(double piece_size_mm, double rocking_mm, double limit_mm);

struct SeatedLayout {
  Layout layout;
  double piece_size_mm = 0;
  double rocking_mm = 0;  // as largest_rocking_mm()
};

// The pieces are at most as large as the options say, and smaller where they would rock by more than the limits
// allow or be too small to hold otherwise. What cannot be had (a form so tight that pieces that sit are too small)
// is left to the plan's check to say. Throws as make_layout().
SeatedLayout make_seated_layout(const geometry::Profile& form, LayoutOptions options,
                                const CheckLimits& limits);

// A layout of just the size that is asked for.
SeatedLayout as_asked(const geometry::Profile& form, const LayoutOptions& options);

// What the maker should know about size and seat, one line each: pieces made smaller than `wanted_mm`, or that rock
// and at which size they would not.
std::vector<std::string> seating_notes(const SeatedLayout& seated, double wanted_mm,
                                       const CheckLimits& limits);

}  // namespace interstice::layout
