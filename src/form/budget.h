// What the uncertainty of one place of a measured meridian is made of.
#pragma once

#include <cmath>

namespace interstice::form {

// Standard uncertainties along the normal, mm (.docs/uncertainty.md, "A bare form's meridian").
struct PointBudget {
  double scatter = 0;  // of places round the ring
  double poses = 0;    // of the photos, which moves whole rings
  double scale = 0;    // of the prints; the form as a whole
  double bench = 0;    // where it lies under the cards' print; the form as a whole
  double shared = 0;   // what all photos do alike
  double bend = 0;     // flat patches on a bend

  double u() const {
    return std::sqrt(scatter * scatter + poses * poses + scale * scale + bench * bench + shared * shared +
                     bend * bend);
  }
};

}  // namespace interstice::form
