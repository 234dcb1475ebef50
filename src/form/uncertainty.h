// How sure a measured meridian is, at every height.
//
// Standard uncertainties along the normal, added as squares (JCGM 100:2008), u95 = 2 u: the scatter of places
// round the ring (the model's own), the scale of the prints, where the bench is (the thickness of the cards'
// paper, and that cards which do not lie flat lie as much too high as they lie unevenly), what the photos' poses do, which moves whole rings (taken from the difference between the meridians of
// two halves of the photos), what all photos do alike, and flat patches on a bend.
#pragma once

#include <vector>

#include "form/budget.h"
#include "form/height_model.h"
#include "surface/pictures.h"

namespace interstice::form {

struct UncertaintyInput {
  const scan::Scan& scan;
  const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures;
  const geometry::Profile& profile;  // measured
  const HeightModel& model;          // the last fit
  double scale_sd = 0;               // relative
  double cards_uneven_mm = 0;        // see BareScan
  double rim_band_mm = 0;
  int threads = 0;
};

// One a point of the profile.
std::vector<PointBudget> form_budget(const UncertaintyInput& input);

}  // namespace interstice::form
