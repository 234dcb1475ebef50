#include "renderer/options.h"

#include <algorithm>
#include <cstdio>
#include <map>

#include "core/errors.h"

namespace interstice::renderer {

namespace {

void within(const char* name, double value, double low, double high) {
  if (value >= low && value <= high) return;
  char line[160];
  std::snprintf(line, sizeof line, "scene option %s is %g; it must lie between %g and %g", name, value, low,
                high);
  throw core::InputError(line);
}

SceneOptions patch() {
  SceneOptions o;
  o.name = "patch";
  o.form = {70, 60, 2.2, 0, 0};
  o.layout.piece_size_mm = 32;
  o.layout.thickness_mm = 9;
  o.layout.pieces = 6;
  o.cards.cards = {1, 2, 3, 4};
  o.camera.footprint_mm = 0.28;
  o.camera.arc_deg = 150;
  o.camera.photos = 16;
  return o;
}

SceneOptions ring() {
  SceneOptions o;
  o.name = "ring";
  o.form = {80, 70, 2.2, 0, 0};
  o.layout.thickness_mm = 11;
  o.layout.rings_placed = 1;
  o.cards.cards = {1, 2, 3, 4, 5};
  o.camera.footprint_mm = 0.3;
  return o;
}

SceneOptions lens() {
  SceneOptions o;
  o.name = "lens";
  o.layout.rings_placed = -1;
  o.cards.cards = {1};
  o.camera.photos = 18;
  o.camera.footprint_mm = 0.18;
  o.camera.portrait_every = 4;
  return o;
}

}  // namespace

void check_options(const SceneOptions& o) {
  within("form.rim_radius_mm", o.form.rim_radius_mm, 20, 400);
  within("form.height_mm", o.form.height_mm, 10, 400);
  within("form.fullness", o.form.fullness, 1.8, 4);
  within("form.error_mm", o.form.error_mm, -3, 3);
  within("form.cut", o.form.cut, 0, 0.8);
  within("layout.piece_size_mm", o.layout.piece_size_mm, 15, 120);
  within("layout.planned_gap_mm", o.layout.planned_gap_mm, 0.1, 12);
  within("layout.thickness_mm", o.layout.thickness_mm, 3, 40);
  within("layout.bevel_deg", o.layout.bevel_deg, 0, 30);
  within("layout.corner_radius_mm", o.layout.corner_radius_mm, 0.5, 15);
  within("layout.irregularity", o.layout.irregularity, 0, 1.5);
  within("build.broken_arris_mm", o.build.broken_arris_mm, 0, 2);
  within("build.corner_most_mm", o.build.corner_most_mm, 0, 2);
  if (o.build.corner_most_mm > 0)
    within("build.corner_least_mm", o.build.corner_least_mm, 0.01, o.build.corner_most_mm);
  within("build.waver_deg", o.build.waver_deg, 0, 5);
  within("build.round_mm", o.build.round_mm, 0, 2);
  within("build.glue_in_seams", o.build.glue_in_seams, 0, 1);
  within("look.pencil_jitter_mm", o.look.pencil_jitter_mm, 0, 2);
  within("resin.gloss", o.resin.gloss, 0, 5);
  within("resin.roughness", o.resin.roughness, 0.01, 0.5);
  within("resin.level_mm", o.resin.level_mm, -3, 2);
  within("resin.spread_mm", o.resin.spread_mm, 1e-3, 2);
  within("resin.least_depth_mm", o.resin.least_depth_mm, 0.5, 40);
  within("resin.most_depth_mm", o.resin.most_depth_mm, o.resin.least_depth_mm, 40);
  within("resin.step_mm", o.resin.step_mm, 0.1, 1);
  within("cards.print_scale", o.cards.print_scale, 0.9, 1.1);
  for (const int card : o.cards.cards) within("cards.cards", card, 1, 12);
  within("cards.odd_scale", o.cards.odd_scale, 0.9, 1.1);
  within("cards.moved_mm", o.cards.moved_mm, -200, 200);
  within("cards.curl_mm", o.cards.curl_mm, 0, 10);
  within("second_bowl.distance_mm", o.second_bowl.distance_mm, 0, 800);
  for (const int card : o.second_bowl.cards) within("second_bowl.cards", card, 1, 12);
  within("camera.width_px", o.camera.width_px, 64, 12000);
  within("camera.height_px", o.camera.height_px, 64, 12000);
  within("camera.footprint_mm", o.camera.footprint_mm, 0.02, 2);
  within("camera.photos", o.camera.photos, 1, 200);
  within("camera.jpeg_quality", o.camera.jpeg_quality, 30, 100);
  within("camera.row_shift_px", o.camera.row_shift_px, 0, 20);
  within("camera.lens_wave_px", o.camera.lens_wave_px, 0, 3);
  within("camera.motion_share", o.camera.motion_share, 0, 1);
  within("camera.motion_px", o.camera.motion_px, 0, 12);
  within("camera.processing", o.camera.processing, 0, 1);
  within("camera.tone", o.camera.tone, 0, 1);
  within("sampling.interior_samples", o.sampling.interior_samples, 1, 64);
  within("sampling.edge_samples", o.sampling.edge_samples, 1, 256);
  within("sampling.light_rays", o.sampling.light_rays, 8, 4096);
  within("sampling.light_step_mm", o.sampling.light_step_mm, 0.3, 10);
}

SceneOptions preset(const std::string& name) {
  if (name == "patch") return patch();
  if (name == "ring") return ring();
  if (name == "lens") return lens();
  SceneOptions o;
  o.name = name;
  if (name == "bowl") return o;
  if (name == "cup") {
    o.form = {85, 115, 2.6, 0, 0};
    return o;
  }
  if (name == "platter") {
    o.form = {150, 62, 2, 0.45, 0};
    o.camera.footprint_mm = 0.42;
    return o;
  }
  throw core::InputError("no scene is called \"" + core::one_line(name) +
                         "\"; there are bowl, cup, platter, ring, patch and lens");
}

}  // namespace interstice::renderer
