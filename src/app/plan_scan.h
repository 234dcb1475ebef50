// The bare form, with pieces drawn on it, from a folder of photos to a picture on its map.
#pragma once

#include <optional>
#include <string>

#include "app/console.h"
#include "geometry/ortho_picture.h"
#include "geometry/profile.h"

namespace interstice::app {

struct BareFormPhotos {
  std::string folder, lens;  // lens: file of the camera's calibration; empty: the scan calibrates itself
  std::optional<double> check_line_mm;
  int threads = 0;
};

struct BareFormPicture {
  geometry::OrthoPicture picture;  // its turn about the axis is arbitrary: a bare form has no mark
  int photos_used = 0, photos_given = 0;
};

// Throws InputError for files, MeasureError when the photos cannot be measured.
BareFormPicture picture_of_bare_form(const BareFormPhotos& photos, const geometry::Profile& form,
                                     Progress& progress);

}  // namespace interstice::app
