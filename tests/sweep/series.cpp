#include "sweep/series.h"

#include <cmath>
#include <cstdio>

#include "renderer/settings.h"

namespace interstice::sweep {

namespace {

// The base scene, as options over the renderer's `patch`: two and a half rings of an irregular shell on a
// small form, in the proportions of a large one, from twelve photos of 1.2 megapixels. Few samples: noise and
// blur of the camera hide the rest.
constexpr double kFootprint = 0.3;
constexpr int kWidth = 1280, kHeight = 960;

std::vector<std::string> base_settings() {
  return {"form.rim_radius_mm=64",
          "form.height_mm=57",
          "layout.pieces=14",
          "layout.piece_size_mm=26",
          "layout.thickness_mm=8",
          "camera.arc_deg=360",
          "camera.photos=12",
          "camera.width_px=" + std::to_string(kWidth),
          "camera.height_px=" + std::to_string(kHeight),
          "camera.footprint_mm=0.3",
          "sampling.interior_samples=1",
          "sampling.light_rays=48",
          "sampling.threads=1"};
}

std::string text(double value) {
  char buffer[32];
  std::snprintf(buffer, sizeof buffer, "%g", value);
  return buffer;
}

// A point where the option has the base scene's value is the base scene itself, run once for all series.
Series numbered(const std::string& name, const std::string& title, const std::string& unit,
                const std::string& option, const std::vector<double>& values, double in_base) {
  Series s{name, title, unit, true, {}};
  for (const double v : values) {
    s.points.push_back({text(v), v, {}});
    if (v != in_base) s.points.back().settings = {option + "=" + text(v)};
  }
  return s;
}

// The same view with more or fewer pixels: only the footprint changes.
Series footprints() {
  Series s{"footprint", "Pixel footprint", "mm", true, {}};
  for (const double footprint : {0.15, 0.2, kFootprint, 0.4, 0.55}) {
    s.points.push_back({text(footprint), footprint, {}});
    if (footprint == kFootprint) continue;
    const double view = kFootprint * kWidth;
    const int width = 4 * static_cast<int>(std::lround(view / footprint / 4)),
              height = width * kHeight / kWidth;
    s.points.back().settings = {"camera.width_px=" + std::to_string(width),
                                "camera.height_px=" + std::to_string(height),
                                "camera.footprint_mm=" + text(view / width)};
  }
  return s;
}

Series woods() {
  Series s{"wood", "All pieces of one wood", "", false, {{"mixed", 0, {}}}};
  for (const char* wood : {"maple", "ash", "oak", "cherry", "padauk", "walnut", "blackwood"}) {
    const auto x = static_cast<double>(s.points.size());
    s.points.push_back({wood, x, {std::string("look.woods=") + wood}});
  }
  return s;
}

// The focal length differs from photo to photo, as when each is focused anew.
Series focusing() {
  Series s{"focus", "Focal length differs between photos by", "%", true, {}};
  for (const double percent : {0.0, 0.1, 0.3}) {
    s.points.push_back({text(percent), percent, {}});
    if (percent > 0) s.points.back().settings = {"camera.focal_spread=" + text(percent / 100)};
  }
  return s;
}

// What real wood and phones add, one at a time: none, as is usual, strong.
std::vector<Series> effects() {
  const auto steps = [](const char* name, const char* title, const char* unit, const char* option,
                        double usual, double strong) {
    return numbered(name, title, unit, option, {0, usual, strong}, 0);
  };
  std::vector<Series> out = {
      steps("corners", "Corners broken unevenly, from 0.05 mm to (0: 0.3 all round)", "mm",
            "build.corner_most_mm", 0.6, 1),
      steps("waver", "Bevels waver round a piece by (standard deviation)", "degrees", "build.waver_deg", 1.5,
            3),
      steps("round", "Faces crowned or cupped by up to", "mm", "build.round_mm", 0.3, 0.8),
      steps("glue", "Share of seams with glue between the walls", "", "build.glue_in_seams", 0.3, 0.8),
      {"labels", "Letters on the faces", "", false, {{"none", 0, {}}, {"drawn", 1, {"look.labels=1"}}}},
      steps("pencil", "Pencil lines wander by (standard deviation)", "mm", "look.pencil_jitter_mm", 0.3, 0.8),
      steps("curl", "Cards curled by up to", "mm", "cards.curl_mm", 1, 3),
      steps("row_shift", "Rolling shutter, shift over the frame up to", "px", "camera.row_shift_px", 1.5, 4),
      steps("lens_wave", "What a lens does beyond Brown's model, RMS", "px", "camera.lens_wave_px", 0.3, 0.8),
      steps("motion", "Share of the photos smeared (up to 3 px, half: up to 5 px)", "", "camera.motion_share",
            0.25, 0.5),
      steps("processing", "Phone's processing (1: all of it)", "", "camera.processing", 0.5, 1),
      steps("tone", "S-shaped tone curve (1: smoothstep)", "", "camera.tone", 0.5, 1)};
  for (Series& s : out) {
    if (s.name == "motion") s.points.back().settings.push_back("camera.motion_px=5");
  }
  Series all{"all",
             "All that wood, paper and phone add, as is usual",
             "",
             false,
             {{"none", 0, {}}, {"usual", 1, {}}}};
  for (const Series& s : out)
    all.points[1].settings.insert(all.points[1].settings.end(), s.points[1].settings.begin(),
                                  s.points[1].settings.end());
  out.push_back(std::move(all));
  return out;
}

}  // namespace

std::vector<Series> all_series() {
  const renderer::SceneOptions base = base_scene();
  std::vector<Series> out = {
      numbered("gap", "Planned gap", "mm", "layout.planned_gap_mm",
               {0.3, 0.7, 1.2, 1.8, 2.5, 3, 3.7, 4.5, 6, 8}, base.layout.planned_gap_mm),
      numbered("scene", "Scene: other pieces, cards and places", "", "seed", {1, 2, 3, 4, 5, 6}, 1),
      footprints(),
      numbered("photos", "Photos", "", "camera.photos", {8, 12, 16, 24, 40}, base.camera.photos),
      numbered("noise", "Noise at mid grey", "grey levels", "camera.noise", {1, 2, 4, 8}, base.camera.noise),
      numbered("blur", "Blur of the lens", "px", "camera.blur_px", {0.4, 0.6, 1, 1.6}, base.camera.blur_px),
      woods(),
      numbered("print", "Print scale of the cards", "", "cards.print_scale", {0.98, 0.99, 1, 1.01, 1.02},
               base.cards.print_scale),
      numbered("form", "Form off its drawing by up to", "mm", "form.error_mm", {-0.7, -0.35, 0, 0.35, 0.7},
               base.form.error_mm),
      focusing(),
      numbered("light", "Hard light from the side, over the room's", "", "look.side_light", {0, 0.5, 1, 2},
               base.look.side_light)};
  for (Series& s : effects()) out.push_back(std::move(s));
  return out;
}

renderer::SceneOptions base_scene() {
  renderer::SceneOptions o = renderer::preset("patch");
  for (const std::string& setting : base_settings()) renderer::set_option(o, setting);
  return o;
}

renderer::SceneOptions scene_of(const Point& point, int seed) {
  renderer::SceneOptions o = base_scene();
  o.seed = static_cast<std::uint64_t>(seed);
  for (const std::string& setting : point.settings) renderer::set_option(o, setting);
  return o;
}

}  // namespace interstice::sweep
