// Which lens took which photo, and how well it is known beforehand.
//
// Photos of one camera name, one size and one focal length (EXIF) share a lens; every other photo gets its
// own: phones put two or three lenses behind one camera name. A lens file counts for photos of its camera and
// shape whose EXIF focal length does not speak against it.
#pragma once

#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include "camera/lens.h"
#include "camera/photo.h"
#include "scan/bundle.h"

namespace interstice::scan {

struct StartLens {
  camera::Lens lens;
  bool from_file = false;
  std::string
      why_not{};  // the file does not count for this photo, in words; empty: it does, or there is none
};

StartLens start_lens(const camera::PhotoInfo& info, const std::optional<camera::Lens>& given);

// What became of a lens file, in one line: used as it is, scaled to the photos' size, or not used and why. Empty without
// a file. `photos`: how all photos start.
std::string lens_file_note(const std::optional<camera::Lens>& given, const std::vector<StartLens>& photos);

// Photos of one key share a lens: camera, size, focal lengths in tenths of a millimetre.
using LensKey = std::tuple<std::string, int, int, long, long>;
LensKey lens_key(const camera::PhotoInfo& info);

struct PhotoLens {
  const camera::PhotoInfo* info;
  const StartLens* start;
};

// Groups the bundle's lenses (photos in step with it) and returns how far each may move, standard deviations.
std::vector<camera::LensVector> group_lenses(Bundle& bundle, const std::vector<PhotoLens>& photos);

}  // namespace interstice::scan
