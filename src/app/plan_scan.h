// The bare form from a folder of photos: its own shape, and a picture of it on its map.
#pragma once

#include <optional>
#include <string>

#include "app/console.h"
#include "form/bare_scan.h"
#include "form/shape.h"
#include "geometry/ortho_picture.h"

namespace interstice::app {

struct BareFormPhotos {
  std::string folder, lens;  // lens: file of the camera's calibration; empty: the scan calibrates itself
  std::optional<double> check_line_mm;
  int threads = 0;
};

struct BareForm {
  form::BareScan bare;
  form::Shape shape;
};

// Throws InputError for files, MeasureError when the photos cannot be measured.
BareForm measure_bare_form(const BareFormPhotos& photos, Progress& progress);

// The form laid out on the map of its measured shape.
geometry::OrthoPicture picture_of_bare_form(const BareForm& form, int threads);

}  // namespace interstice::app
