#include "sweep/series.h"

#include <cmath>
#include <cstdio>

#include "renderer/settings.h"

namespace interstice::sweep {

namespace {

// The view of the base scene is this wide where the camera is aimed.
constexpr double kViewWide = 448;

std::string text(double value) {
  char buffer[32];
  std::snprintf(buffer, sizeof buffer, "%g", value);
  return buffer;
}

Series numbered(const std::string& name, const std::string& title, const std::string& unit,
                const std::string& option, const std::vector<double>& values) {
  Series s{name, title, unit, true, {}};
  for (const double v : values) s.points.push_back({text(v), v, {option + "=" + text(v)}});
  return s;
}

// The same view with more or fewer pixels: only the footprint changes.
Series footprints() {
  Series s{"footprint", "Pixel footprint", "mm", true, {}};
  for (const double footprint : {0.14, 0.2, 0.28, 0.4, 0.56}) {
    const int width = 4 * static_cast<int>(std::lround(kViewWide / footprint / 4)), height = width * 3 / 4;
    s.points.push_back(
        {text(footprint),
         footprint,
         {"camera.width_px=" + std::to_string(width), "camera.height_px=" + std::to_string(height),
          "camera.footprint_mm=" + text(kViewWide / width)}});
  }
  return s;
}

Series woods() {
  Series s{"wood", "Wood", "", false, {}};
  double x = 0;
  for (const char* wood : {"maple", "ash", "oak", "cherry", "padauk", "walnut", "blackwood"}) {
    s.points.push_back({wood, x++, {std::string("look.woods=") + wood}});
  }
  return s;
}

}  // namespace

std::vector<Series> all_series() {
  return {numbered("gap", "Planned gap", "mm", "layout.planned_gap_mm",
                   {0.3, 0.6, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 8}),
          footprints(),
          numbered("photos", "Photos", "", "camera.photos", {8, 12, 16, 24, 40}),
          numbered("noise", "Noise at mid grey", "grey levels", "camera.noise", {0.5, 2, 4, 8}),
          numbered("blur", "Blur of the lens", "px", "camera.blur_px", {0.4, 0.6, 1, 1.5, 2.2}),
          woods(),
          numbered("print", "Print scale", "", "cards.print_scale", {0.98, 0.99, 1, 1.01, 1.02}),
          numbered("form", "Form off its drawing by up to", "mm", "form.error_mm", {0, 0.3, 0.6, 1})};
}

renderer::SceneOptions base_scene() {
  renderer::SceneOptions o = renderer::preset("patch");
  o.sampling.threads = 2;
  return o;
}

renderer::SceneOptions scene_of(const Point& point, int seed) {
  renderer::SceneOptions o = base_scene();
  o.seed = static_cast<std::uint64_t>(seed);
  for (const std::string& setting : point.settings) renderer::set_option(o, setting);
  return o;
}

}  // namespace interstice::sweep
