// Heights swept over a form, and the cells of the map that tell them.
#pragma once

#include <cmath>
#include <vector>

#include "form/height_model.h"
#include "surface/height_field.h"

namespace interstice::form {

struct SweepRange {
  double range_mm, step_mm;  // either way of the form
};

surface::HeightField sweep_form(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::Profile& form, const SweepRange& range, double grid_mm, int threads);

// Known cells within `to_rho` of the pole.
std::vector<FormCell> form_cells(const surface::HeightField& field, double to_rho);

// Takes out of the field what is no surface: places of the map (about 8 mm along the meridian, a twelfth of the
// ring) where heights lie scattered over the range they were looked for in, because the photos there show too
// little. `range_mm`: that range either way of the form. A dent or bump is one smooth surface and stays.
void drop_noise(const HeightModel& model, double range_mm, surface::HeightField& field);

// Side of the form that one height is drawn from: a patch and its pooling.
inline const double kPatchSide_mm =
    std::hypot(surface::HeightOptions{}.patch_mm, surface::HeightOptions{}.pool_mm);

// Of a patch of the photos compared, what one cell adds: neighbours share the patch and its pooling.
double cell_share(double grid_mm);

}  // namespace interstice::form
