// The lens: a pinhole with Brown's distortion, and its file.
//
// Model (OpenCV's sense). With x = X/Z, y = Y/Z in the camera frame (x right, y down, z forward), r2 = x2 +
// y2:
//   s  = 1 + k1 r2 + k2 r2^2 + k3 r2^3
//   x' = x s + 2 p1 x y + p2 (r2 + 2 x2)        u = fx x' + cx
//   y' = y s + p1 (r2 + 2 y2) + 2 p2 x y        v = fy y' + cy
// Pixels, with (0, 0) the centre of the first pixel, in sensor orientation.
// Source: D. C. Brown, "Decentering distortion of lenses", Photogrammetric Engineering 32 (1966), as OpenCV
// writes it in its calib3d documentation (from memory).
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "camera/shift_field.h"
#include "core/errors.h"

namespace interstice::camera {

// The model for any number type (automatic differentiation): lens = fx fy cx cy k1 k2 p1 p2 k3, p in the
// camera frame with p[2] > 0.
template <class T>
void brown_project(const T* lens, const T* p, T* pixel) {
  const T x = p[0] / p[2], y = p[1] / p[2];
  const T r2 = x * x + y * y;
  const T s = T(1) + r2 * (lens[4] + r2 * (lens[5] + r2 * lens[8]));
  const T xd = x * s + T(2) * lens[6] * x * y + lens[7] * (r2 + T(2) * x * x);
  const T yd = y * s + lens[6] * (r2 + T(2) * y * y) + T(2) * lens[7] * x * y;
  pixel[0] = lens[0] * xd + lens[2];
  pixel[1] = lens[1] * yd + lens[3];
}

inline constexpr int kLensParameters = 9;
using LensVector = Eigen::Matrix<double, kLensParameters, 1>;  // fx fy cx cy k1 k2 p1 p2 k3
using LensMatrix = Eigen::Matrix<double, kLensParameters, kLensParameters>;
inline constexpr const char* kLensParameterNames[kLensParameters] = {"fx", "fy", "cx", "cy", "k1",
                                                                     "k2", "p1", "p2", "k3"};

struct Lens {
  int width = 0, height = 0;
  double fx = 0, fy = 0, cx = 0, cy = 0;
  double k1 = 0, k2 = 0, p1 = 0, p2 = 0, k3 = 0;

  // Of one photo, and in no lens file. A sensor reads its rows one after the other: while it does, the picture
  // moves on by this much from the first row to the last.
  Eigen::Vector2d row_shift_px{0, 0};
  std::shared_ptr<const ShiftField> residual;  // what Brown's model leaves; null: nothing

  // How it was found; zero and empty for a lens that was not calibrated.
  LensVector sd = LensVector::Zero();               // standard deviations, order fx fy cx cy k1 k2 p1 p2 k3
  LensMatrix correlation = LensMatrix::Identity();  // same order
  double rms_px = 0;                                // of the distances between measured and computed corners
  double coverage = 0;                              // share of the frame the corners covered, 0 to 1
  int photos_used = 0;
  std::string camera;  // as PhotoInfo::camera

  LensVector parameters() const;
  LensMatrix covariance() const { return sd.asDiagonal() * correlation * sd.asDiagonal(); }
  void set_covariance(const LensMatrix& covariance);
  void set_parameters(const LensVector& p);

  // Largest tan of the angle off the axis for which the distortion is one-to-one (its radial part rises with
  // the angle); infinite when it always is.
  double domain() const;

  bool shifts() const { return residual || !row_shift_px.isZero(0); }
  // Where a pixel of the model above lands in the photo: moved by the rows' shift and by the residual.
  Eigen::Vector2d shift(const Eigen::Vector2d& pixel) const {
    Eigen::Vector2d s = row_shift_px * ((pixel.y() + 0.5) / height - 0.5);
    if (residual) s += residual->at(pixel);
    return s;
  }

  // Pixel of a point in the camera frame. Both numbers are NaN for a point at or behind the camera's centre
  // or beyond domain(): there the model would fold back into the frame.
  Eigen::Vector2d project(const Eigen::Vector3d& p_camera) const;

  // Unit ray in the camera frame through a pixel; inverts project to 1e-12 of the ray's slope. All numbers
  // are NaN for a pixel no ray within domain() meets (never in the frame of a lens that check() accepts).
  Eigen::Vector3d undistort(const Eigen::Vector2d& pixel) const;

  // Within the frame, `margin_px` away from its border (pixel centres run from 0 to width - 1). False for
  // NaN.
  bool in_frame(const Eigen::Vector2d& pixel, double margin_px = 0) const;

  // The same lens for a picture of another size of the same aspect (to half a pixel): cx' = (cx + 0.5) s -
  // 0.5. Throws InputError when the aspect differs, and says so when the sides are merely swapped.
  Lens scaled_to(int new_width, int new_height) const;

  // Throws InputError(file, ...) when a number is absurd or a pixel of the frame cannot be undistorted.
  void check(const std::string& file) const;
};

// No distortion, square pixels, principal point in the middle.
Lens plain_lens(int width, int height, double focal_px);

// NAME.lens.json:
//   { "format": "interstice-lens", "version": 1, "camera": "...", "width": 4032, "height": 3024,
//     "fx": .., "fy": .., "cx": .., "cy": .., "k1": .., "k2": .., "p1": .., "p2": .., "k3": ..,
//     "sd": { "fx": .., ... }, "correlation": [[1, ..], ..], "rms_px": .., "coverage": 0..1, "photos_used":
//     .. }
// The last five may be missing; without "correlation" the numbers count as independent. Rows and columns of
// the correlation stand in the order of fx to k3 as above; it matters: k1, k2 and k3 hang together closely.
// Reading throws InputError naming file, place and fault.
std::string write_lens(const Lens& lens);
Lens parse_lens(const std::string& json_text, const std::string& file);
Lens read_lens(const std::filesystem::path& path);

}  // namespace interstice::camera
