// The surface in 3-D: heights on the map's grid for the page's script to build a mesh of, and the seams as
// lines.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Json = nlohmann::ordered_json;

namespace {

constexpr double kHeightStepMm = 0.02;  // heights as 16-bit numbers of these, from kLowestMm; 0: unknown
constexpr double kLowestMm = -20;
constexpr double kPlaceStepMm = 0.02;  // coordinates of lines, signed 16-bit
constexpr int kMostCells = 420;        // a side: finer grids are thinned for phones

std::string little_endian(const std::vector<std::uint16_t>& values) {
  std::string bytes;
  bytes.reserve(values.size() * 2);
  for (const std::uint16_t v : values) {
    bytes += static_cast<char>(v & 0xFF);
    bytes += static_cast<char>(v >> 8);
  }
  return base64(bytes);
}

Json heights(const PageInput& input) {
  const surface::MapGrid& grid = input.heights.grid;
  const int every = std::max(1, (grid.side() + kMostCells - 1) / kMostCells);
  const int half = grid.centre / every, side = 2 * half + 1;
  std::vector<std::uint16_t> values;
  for (int row = 0; row < side; ++row) {
    for (int column = 0; column < side; ++column) {
      const float h = input.heights.height.at<float>(grid.centre + (row - half) * every,
                                                     grid.centre + (column - half) * every);
      const double steps = std::round((static_cast<double>(h) - kLowestMm) / kHeightStepMm);
      values.push_back(std::isfinite(h) ? static_cast<std::uint16_t>(std::clamp(steps, 1.0, 65535.0))
                                        : std::uint16_t{0});
    }
  }
  return {{"side", side},
          {"step_mm", grid.step_mm * every},
          {"height_step_mm", kHeightStepMm},
          {"lowest_mm", kLowestMm},
          {"data", little_endian(values)}};
}

std::string line_of(const std::vector<Vector3d>& points) {
  std::vector<std::uint16_t> values;
  for (const Vector3d& p : points) {
    for (int k = 0; k < 3; ++k) {
      const double steps = std::clamp(std::round(p(k) / kPlaceStepMm), -32767.0, 32767.0);
      values.push_back(static_cast<std::uint16_t>(static_cast<std::int16_t>(steps)));
    }
  }
  return little_endian(values);
}

// The meridian at whole millimetres of arc: r, z, normal.
Json meridian(const geometry::Profile& profile) {
  Json out = Json::array();
  for (int rho = 0; rho <= static_cast<int>(std::ceil(profile.length())) + 1; ++rho) {
    const geometry::MeridianPoint m = profile.at(rho);
    for (const double x : {m.rz.x(), m.rz.y(), m.normal.x(), m.normal.y()})
      out.push_back(std::round(x * 1e4) / 1e4);
  }
  return out;
}

Json seam_lines(const seams::FitDocument& fit) {
  Json out = Json::array();
  for (std::size_t i = 0; i < fit.seams.size(); ++i) {
    const seams::FitSeam& s = fit.seams[i];
    std::vector<Vector3d> line;
    for (std::size_t k = 0; k < s.samples.size(); k += 2)
      line.push_back((s.samples[k].a + s.samples[k].b) / 2);
    if (line.size() < 2) continue;
    out.push_back({{"seam", i}, {"verdict", verdict_class(s.verdict)}, {"line", line_of(line)}});
  }
  return out;
}

// A number that is the same only for the same result, so that ticks of one scan never show on another.
std::string fingerprint(const seams::FitDocument& fit) {
  std::uint64_t h = 14695981039346656037u;  // FNV-1a
  for (const char c : seams::write_fit(fit)) h = (h ^ static_cast<unsigned char>(c)) * 1099511628211u;
  return fmt::format("{:016x}", static_cast<unsigned long long>(h));
}

}  // namespace

std::string model_json(const PageInput& input) {
  Json root;
  root["result"] = fingerprint(input.fit);
  root["place_step_mm"] = kPlaceStepMm;
  root["rho_mm"] = input.plan.profile.length();
  root["ortho_half_mm"] =
      input.ortho.empty() ? 0.0 : (input.ortho_grid.centre + 0.5) * input.ortho_grid.step_mm;
  root["thickness_mm"] = input.plan.tile_thickness_mm;
  root["meridian"] = meridian(input.plan.profile);
  root["heights"] = heights(input);
  root["seams"] = seam_lines(input.fit);
  Json names = Json::array();
  for (const seams::FitTile& t : input.fit.tiles) {
    if (!t.arris.empty())
      names.push_back({{"label", shortened(t.label, 9)},
                       {"at", line_of({t.face.origin})},
                       {"normal", {t.face.normal.x(), t.face.normal.y(), t.face.normal.z()}}});
  }
  root["pieces"] = names;
  return script_json(root);
}

std::string model_part(const PageInput& input) {
  const std::string name = escaped(shortened(input.fit.name, 60));
  return "<section id=\"model\" aria-labelledby=\"model-head\"><h2 id=\"model-head\">In three dimensions</h2>"
         "<p class=\"screen\">Drag to turn, pinch or wheel to come nearer, tap a marked seam for its card. "
         "With the keyboard: arrows turn, + and \xE2\x88\x92 zoom, 0 resets.</p>"
         "<div id=\"view\" class=\"view\"><p class=\"still\">The view needs scripts and WebGL; the photos "
         "above show the same seams.</p></div>"
         "<p class=\"controls\"><button type=\"button\" class=\"plain\" id=\"view-names\" "
         "aria-pressed=\"true\">Names</button>"
         "<button type=\"button\" class=\"plain\" id=\"view-reset\">As at first</button></p>"
         "<p class=\"note\">Surface of " +
         (name.empty() ? std::string("the shell") : "<bdi>" + name + "</bdi>") +
         " from the photos, coloured by them; to look at, not to measure.</p></section>\n";
}

}  // namespace interstice::report
