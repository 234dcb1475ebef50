// Where the cards lie and from where the photos are taken.
//
// Camera: pinhole with Brown's distortion, x right, y down, z forward, pixel centres at whole numbers:
//   r2 = x^2 + y^2,  f = 1 + k1 r2 + k2 r2^2 + k3 r2^3
//   x' = x f + 2 p1 x y + p2 (r2 + 2 x^2),  y' = y f + p1 (r2 + 2 y^2) + 2 p2 x y
//   u = focal x' + cx,  v = focal y' + cy.
// To that come, both at (u, v): the lens's wave (lens_wave.h) and a shutter that reads row by row, which moves a row
// by row_shift_px (v / height - 1/2).
// Pictures are in sensor orientation; portrait ones carry an orientation tag and are turned by it.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "renderer/form.h"
#include "renderer/lens_wave.h"

namespace interstice::renderer {

struct CardPlace {
  int card = 1;
  Frame frame;  // origin at the sheet's centre, x along its long side, y up the sheet, z out of the paper
  double print_scale = 1;
  // The sheet is part of a cylinder that touches the frame's plane z = 0 along a line through the origin; across that
  // line, which lies at a right angle to curl_towards_rad (from x), it is bent by curl_per_mm, up (z) where positive.
  double curl_per_mm = 0, curl_towards_rad = 0;

  // The place on the bent sheet of (x, y) on the flat one, mm of paper; in the bowl frame.
  Eigen::Vector3d on_sheet(double x_mm, double y_mm) const;
  Eigen::Vector3d normal_at(double x_mm, double y_mm) const;
  // And back; the distance from the sheet is dropped.
  Eigen::Vector2d flat(const Eigen::Vector3d& p_bowl) const;
};

struct Shot {
  std::string name;
  int width_px = 0, height_px = 0;
  double focal_px = 0, cx_px = 0, cy_px = 0;
  double k1 = 0, k2 = 0, k3 = 0, p1 = 0, p2 = 0;
  Eigen::Matrix3d camera_R_bowl = Eigen::Matrix3d::Identity();
  Eigen::Vector3d camera_t_bowl = Eigen::Vector3d::Zero();
  double focus_mm = 400, aperture_mm = 0;
  double exposure = 1;
  bool portrait = false;
  Eigen::Vector2d row_shift_px = Eigen::Vector2d::Zero();  // over the frame's height
  Eigen::Vector2d smear_px = Eigen::Vector2d::Zero();      // the line that a point moved along, centred on it
  std::shared_ptr<const LensWave> wave;                    // nothing: none

  Eigen::Vector3d centre() const { return -camera_R_bowl.transpose() * camera_t_bowl; }
  Eigen::Vector2d distorted(const Eigen::Vector2d& normalised) const;  // to pixels
  Eigen::Vector2d undistorted(const Eigen::Vector2d& pixel) const;     // to z = 1
  Eigen::Vector2d project(const Eigen::Vector3d& p_bowl) const;        // to pixels
};

// Cards in a ring round the form on the bench (z = 0), a little turned and shifted, each on its own small
// height. `photo`: the photo's number from 0, for a card that was moved between photos.
std::vector<CardPlace> place_cards(const SceneOptions& options, int photo = 0);

// Shots in rings of about 22, 50 and 80 degrees of elevation, aimed at `target` with some jitter.
std::vector<Shot> place_shots(const SceneOptions& options, const Eigen::Vector3d& target);

}  // namespace interstice::renderer
