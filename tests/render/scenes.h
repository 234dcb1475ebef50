// Pieces of simple known shape for the renderer's tests.
#pragma once

#include <Eigen/Core>
#include <string>

#include "renderer/scene.h"

namespace interstice::renderer {

// A block with a level face at height `top_mm`, sides `wide` x `deep`, corners rounded, centre at (x, y).
inline BuiltPiece block(const std::string& label, double x, double y, double wide, double deep, double top_mm,
                        double thickness_mm, double bevel_deg, double broken_arris_mm) {
  const double corner = 4;
  BuiltPiece p;
  p.label = label;
  p.frame.origin = Eigen::Vector3d(x, y, top_mm);
  const double a = 0.5 * wide - corner, b = 0.5 * deep - corner;
  p.outline = grown_convex({{-a, -b}, {a, -b}, {a, b}, {-a, b}}, corner, 0.5);
  p.thickness_mm = thickness_mm;
  p.bevel_deg = bevel_deg;
  p.broken_arris_mm = broken_arris_mm;
  return p;
}

// Two blocks side by side along x with a gap between their widest outlines, centred on the axis.
inline std::vector<BuiltPiece> two_blocks(double gap_mm, double bevel_deg = 10, double broken_arris_mm = 0.3,
                                          double second_higher_mm = 0) {
  const double wide = 40, half = 0.5 * (wide + gap_mm), top = 60, thick = 16;
  return {block("A01", -half, 0, wide, 50, top, thick, bevel_deg, broken_arris_mm),
          block("A02", half, 0, wide, 50, top + second_higher_mm, thick, bevel_deg, broken_arris_mm)};
}

// A camera looking straight down at the axis from `height_mm` over z = 60, x of the picture along x of the
// bowl.
inline Shot shot_from_above(const CameraOptions& camera, double height_mm) {
  Shot s;
  s.name = "above";
  s.width_px = camera.width_px;
  s.height_px = camera.height_px;
  s.focal_px = camera.focal_px;
  s.cx_px = 0.5 * (camera.width_px - 1);
  s.cy_px = 0.5 * (camera.height_px - 1);
  s.camera_R_bowl << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  s.camera_t_bowl = -s.camera_R_bowl * Eigen::Vector3d(0, 0, 60 + height_mm);
  s.focus_mm = height_mm;
  s.aperture_mm = camera.aperture_mm;
  return s;
}

// Small, quick settings: no blur, noise or sharpening, few light rays.
inline SceneOptions plain_options(int width_px, int height_px, double focal_px) {
  SceneOptions o;
  o.form = {40, 30, 2.2, 0, 0};
  o.layout.piece_size_mm = 20;
  o.layout.thickness_mm = 5;
  o.layout.planned_gap_mm = 2;
  o.layout.corner_radius_mm = 2;
  o.build.glue_beads = false;
  o.cards.cards = {1};
  o.camera.width_px = width_px;
  o.camera.height_px = height_px;
  o.camera.focal_px = focal_px;
  o.camera.aperture_mm = 0;
  o.camera.blur_px = 0;
  o.camera.noise = 0;
  o.camera.sharpen = 0;
  o.camera.k1 = o.camera.k2 = o.camera.k3 = o.camera.p1 = o.camera.p2 = 0;
  o.sampling.light_rays = 16;
  o.sampling.light_step_mm = 3;
  o.sampling.threads = 2;
  return o;
}

}  // namespace interstice::renderer
