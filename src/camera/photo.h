// Photos as the camera took them. Everything geometric in this program uses the sensor's own orientation: a
// picture is never turned by its orientation tag, so that one lens fits landscape and portrait shots alike.
// Pixel (0, 0) is the centre of the first pixel.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "core/errors.h"

namespace interstice::camera {

// A photo that cannot be used as a picture: not a picture, cut short, damaged, too large. One line: which
// file and why. (An InputError: a stage that goes on without the photo catches it and names it as left out.)
class PhotoError : public core::InputError {
 public:
  PhotoError(const std::filesystem::path& file, const std::string& reason)
      : core::InputError(core::one_line(file.string(), 400), reason), reason_(reason) {}
  const std::string& reason() const { return reason_; }  // without the file's name

 private:
  std::string reason_;
};

struct PhotoInfo {
  std::filesystem::path path;
  std::string name;           // the file's name without its extension
  int width = 0, height = 0;  // of the picture as it is carried: the sensor's, divided by `reduced`
  // One carried pixel for reduced x reduced of the file's (1, 2 or 4): carried pixel q shows file pixel
  // (q + 0.5) * reduced - 0.5. Whoever reads a photo carries it whole; see scan/carried_size.h.
  int reduced = 1;
  int exif_orientation = 1;  // 1 to 8; how a viewer would turn the picture; not used for geometry
  std::string camera;  // make, model and lens as the file names them, to tell lenses apart; may be empty
  std::optional<double> focal_35mm;  // as EXIF gives it: focal length for the same diagonal on 36 x 24 mm
  std::optional<double> focal_mm;    // as EXIF gives it

  int file_width() const { return width * reduced; }
  int file_height() const { return height * reduced; }
};

// The same photo carried at a `factor`-th of its file's pixels, which must divide both sides.
PhotoInfo reduced_photo(const PhotoInfo& info, int factor);

// The photos of a folder by extension (jpg jpeg png tif tiff heic heif webp, any case), sorted by file name,
// hidden files left out. Throws InputError when the folder is missing, is no folder or holds no photo, or
// when two photos share a name (a.jpg, a.heic): results name photos without extension.
std::vector<std::filesystem::path> list_photos(const std::filesystem::path& folder);

// Size and EXIF without decoding the picture. The kind of file is told from its content, not its extension.
// Damaged EXIF counts as none. Throws PhotoError.
PhotoInfo read_photo_info(const std::filesystem::path& path);

// The picture as it is carried, 8 bits a channel, in sensor orientation; colour is B, G, R. 16-bit pictures are
// scaled to 8. A JPEG is reduced as it is decoded, by the low frequencies of its blocks; all others by means of areas.
// Throws PhotoError, above all for a picture that is cut short, and when the size is not the one in `info`.
cv::Mat read_photo_grey(const PhotoInfo& info);
cv::Mat read_photo_colour(const PhotoInfo& info);

// Pictures larger than this are refused before decoding.
inline constexpr double kMaxMegapixels = 200.0;

// Focal length to assume when EXIF has none, for the 43.27 mm diagonal of 36 x 24 mm. Main cameras of phones
// lie around 24 to 28 mm (common practice, no source); it only has to start an optimisation.
inline constexpr double kDefaultFocal35mm = 26.0;

// First guess of the focal length in pixels, from the 35-mm equivalent (same diagonal) or kDefaultFocal35mm
// when EXIF has none or an absurd one (outside 5 to 2000 mm).
double exif_focal_px(const PhotoInfo& info);

}  // namespace interstice::camera
