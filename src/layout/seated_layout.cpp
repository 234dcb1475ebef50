#include "layout/seated_layout.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "core/errors.h"
#include "solid/piece_body.h"

namespace interstice::layout {
namespace {

constexpr int kLayouts = 6;
constexpr double kSpare = 0.97;    // pieces of one layout differ in size; the largest decides
constexpr double kWellUsed = 0.7;  // of the limit: larger pieces would sit as well
constexpr double kSizeStep_mm = 0.5;

}  // namespace

double largest_rocking_mm(const plan::Plan& plan) {
  const std::vector<solid::PieceBody> bodies = solid::planned_bodies(plan);
  double largest = 0;
  for (const solid::PieceGeometry& piece : solid::piece_geometries(plan, bodies))
    largest = std::max(largest, std::abs(piece.rocking_gap_mm));
  return largest;
}

double size_that_sits_mm(double piece_size_mm, double rocking_mm, double limit_mm) {
  const double size = kSpare * piece_size_mm * std::sqrt(limit_mm / rocking_mm);
  return std::floor(size / kSizeStep_mm) * kSizeStep_mm;
}

SeatedLayout as_asked(const geometry::Profile& form, const LayoutOptions& options) {
  SeatedLayout seated{make_layout(form, options), options.piece_size_mm, 0};
  seated.rocking_mm = largest_rocking_mm(seated.layout.plan);
  return seated;
}

std::vector<std::string> seating_notes(const SeatedLayout& seated, double wanted_mm,
                                       const CheckLimits& limits) {
  std::vector<std::string> notes;
  if (seated.piece_size_mm < wanted_mm) {
    notes.push_back(fmt::format(
        "pieces of {:.1f} mm instead of {:.0f} mm, so that flat backs sit on this form (at most {:.1f} mm "
        "off it)",
        seated.piece_size_mm, wanted_mm, seated.rocking_mm));
  }
  if (seated.rocking_mm > limits.largest_rocking_mm) {
    notes.push_back(
        fmt::format("flat backs of this size stand up to {:.1f} mm off the form (limit {:.1f} mm); pieces of "
                    "about {:.1f} mm "
                    "would sit, or hollow the backs",
                    seated.rocking_mm, limits.largest_rocking_mm,
                    size_that_sits_mm(seated.piece_size_mm, seated.rocking_mm, limits.largest_rocking_mm)));
  }
  return notes;
}

SeatedLayout make_seated_layout(const geometry::Profile& form, LayoutOptions options,
                                const CheckLimits& limits) {
  SeatedLayout best = as_asked(form, options);
  double rocks_mm = best.piece_size_mm;  // the smallest size known to rock
  const auto sits = [&](const SeatedLayout& seated) {
    return seated.rocking_mm <= limits.largest_rocking_mm;
  };
  for (int k = 1; k < kLayouts; ++k) {
    if (!sits(best)) {
      rocks_mm = best.piece_size_mm;
      options.piece_size_mm = size_that_sits_mm(rocks_mm, best.rocking_mm, limits.largest_rocking_mm);
    } else if (best.piece_size_mm < rocks_mm && best.rocking_mm < kWellUsed * limits.largest_rocking_mm) {
      options.piece_size_mm = std::round((best.piece_size_mm + rocks_mm) / 2 / kSizeStep_mm) * kSizeStep_mm;
    } else {
      return best;
    }
    if (options.piece_size_mm < limits.smallest_piece_mm || options.piece_size_mm == best.piece_size_mm)
      return best;
    try {
      SeatedLayout next = as_asked(form, options);
      if (!sits(next)) rocks_mm = std::min(rocks_mm, next.piece_size_mm);
      if (sits(next) || !sits(best)) best = std::move(next);
    } catch (const core::InputError&) {
      return best;  // pieces this small are not to be had
    }
  }
  return best;
}

}  // namespace interstice::layout
