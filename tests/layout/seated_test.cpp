#include <gtest/gtest.h>

#include "layout/forms.h"
#include "layout/seated_layout.h"

namespace interstice::layout {
namespace {

// w^2 / 8r: the height of a flat back over a circle of radius r at the edge of a width w, as any handbook of
// mensuration gives a segment's height for small w / r.
TEST(SeatedLayoutTest, TheGapUnderAFlatBackGrowsWithTheSquareOfTheSize) {
  const double twice = size_that_sits_mm(40, 12, 3);  // four times too much: half the size
  EXPECT_LT(twice, 20.0);
  EXPECT_GT(twice, 18.5);
}

TEST(SeatedLayoutTest, PiecesMadeByDefaultSitOnCommonForms) {
  const CheckLimits limits;
  for (const double radius : {90.0}) {
    const geometry::Profile form = testing_forms::hemisphere(radius);
    const LayoutOptions usual;
    const double before = as_asked(form, usual).rocking_mm;
    const SeatedLayout seated = make_seated_layout(form, usual, limits);
    EXPECT_GT(before, limits.largest_rocking_mm) << radius << ": nothing to do on this form";
    EXPECT_LE(seated.rocking_mm, limits.largest_rocking_mm) << radius;
    EXPECT_LT(seated.piece_size_mm, usual.piece_size_mm) << radius;
    // By the circle alone: half the diagonal of a square of that size.
    const double half = seated.piece_size_mm / std::sqrt(2.0);
    EXPECT_GT(half * half / (2 * radius), 0.4 * limits.largest_rocking_mm) << radius << ": needlessly small";
    EXPECT_EQ(seating_notes(seated, usual.piece_size_mm, limits).size(), 1u);
  }
}

TEST(SeatedLayoutTest, WhatIsAskedForIsMadeAndTheSizeThatSitsIsSaid) {
  const geometry::Profile form = testing_forms::hemisphere(70);
  LayoutOptions options;
  options.piece_size_mm = 45;
  const CheckLimits limits;
  const SeatedLayout asked = as_asked(form, options);
  EXPECT_GT(asked.rocking_mm, limits.largest_rocking_mm);
  const auto notes = seating_notes(asked, 45, limits);
  ASSERT_EQ(notes.size(), 1u);
  EXPECT_NE(notes[0].find("would sit"), std::string::npos) << notes[0];
  options.piece_size_mm = size_that_sits_mm(45, asked.rocking_mm, limits.largest_rocking_mm);
  EXPECT_LE(as_asked(form, options).rocking_mm, 1.15 * limits.largest_rocking_mm);
}

}  // namespace
}  // namespace interstice::layout
