#include "renderer/settings.h"

#include <cmath>
#include <cstdlib>
#include <map>
#include <sstream>
#include <variant>

#include "core/errors.h"

namespace interstice::renderer {

namespace {

using Target = std::variant<double*, int*, bool*>;

std::map<std::string, Target> shell_targets(SceneOptions& o) {
  return {{"form.rim_radius_mm", &o.form.rim_radius_mm},
          {"form.height_mm", &o.form.height_mm},
          {"form.fullness", &o.form.fullness},
          {"form.cut", &o.form.cut},
          {"form.error_mm", &o.form.error_mm},
          {"layout.piece_size_mm", &o.layout.piece_size_mm},
          {"layout.planned_gap_mm", &o.layout.planned_gap_mm},
          {"layout.smallest_fill_mm", &o.layout.smallest_fill_mm},
          {"layout.thickness_mm", &o.layout.thickness_mm},
          {"layout.bevel_deg", &o.layout.bevel_deg},
          {"layout.corner_radius_mm", &o.layout.corner_radius_mm},
          {"layout.irregularity", &o.layout.irregularity},
          {"layout.turn_deg", &o.layout.turn_deg},
          {"layout.pieces", &o.layout.pieces},
          {"layout.rings_placed", &o.layout.rings_placed},
          {"layout.missing", &o.layout.missing},
          {"build.shift_mm", &o.build.shift_mm},
          {"build.turn_deg", &o.build.turn_deg},
          {"build.tilt_deg", &o.build.tilt_deg},
          {"build.lift_max_mm", &o.build.lift_max_mm},
          {"build.cut_error_mm", &o.build.cut_error_mm},
          {"build.bevel_error_deg", &o.build.bevel_error_deg},
          {"build.broken_arris_mm", &o.build.broken_arris_mm},
          {"build.corner_least_mm", &o.build.corner_least_mm},
          {"build.corner_most_mm", &o.build.corner_most_mm},
          {"build.waver_deg", &o.build.waver_deg},
          {"build.round_mm", &o.build.round_mm},
          {"build.glue_in_seams", &o.build.glue_in_seams},
          {"build.glue_beads", &o.build.glue_beads},
          {"look.form_grey", &o.look.form_grey},
          {"look.pencil_lines", &o.look.pencil_lines},
          {"look.pencil_jitter_mm", &o.look.pencil_jitter_mm},
          {"look.labels", &o.look.labels},
          {"look.side_light", &o.look.side_light}};
}

std::map<std::string, Target> photo_targets(SceneOptions& o) {
  return {{"resin.gloss", &o.resin.gloss},
          {"resin.roughness", &o.resin.roughness},
          {"resin.level_mm", &o.resin.level_mm},
          {"resin.limit_mm", &o.resin.limit_mm},
          {"resin.spread_mm", &o.resin.spread_mm},
          {"resin.least_depth_mm", &o.resin.least_depth_mm},
          {"resin.most_depth_mm", &o.resin.most_depth_mm},
          {"resin.pits", &o.resin.pits},
          {"resin.step_mm", &o.resin.step_mm},
          {"cards.print_scale", &o.cards.print_scale},
          {"cards.odd", &o.cards.odd},
          {"cards.odd_scale", &o.cards.odd_scale},
          {"cards.moved", &o.cards.moved},
          {"cards.moved_mm", &o.cards.moved_mm},
          {"cards.moved_after", &o.cards.moved_after},
          {"cards.curl_mm", &o.cards.curl_mm},
          {"second_bowl.distance_mm", &o.second_bowl.distance_mm},
          {"camera.width_px", &o.camera.width_px},
          {"camera.height_px", &o.camera.height_px},
          {"camera.focal_px", &o.camera.focal_px},
          {"camera.focal_spread", &o.camera.focal_spread},
          {"camera.k1", &o.camera.k1},
          {"camera.k2", &o.camera.k2},
          {"camera.k3", &o.camera.k3},
          {"camera.p1", &o.camera.p1},
          {"camera.p2", &o.camera.p2},
          {"camera.footprint_mm", &o.camera.footprint_mm},
          {"camera.photos", &o.camera.photos},
          {"camera.session", &o.camera.session},
          {"camera.arc_deg", &o.camera.arc_deg},
          {"camera.portrait_every", &o.camera.portrait_every},
          {"camera.aperture_mm", &o.camera.aperture_mm},
          {"camera.blur_px", &o.camera.blur_px},
          {"camera.noise", &o.camera.noise},
          {"camera.sharpen", &o.camera.sharpen},
          {"camera.jpeg_quality", &o.camera.jpeg_quality},
          {"camera.row_shift_px", &o.camera.row_shift_px},
          {"camera.lens_wave_px", &o.camera.lens_wave_px},
          {"camera.motion_share", &o.camera.motion_share},
          {"camera.motion_px", &o.camera.motion_px},
          {"camera.processing", &o.camera.processing},
          {"camera.tone", &o.camera.tone},
          {"sampling.interior_samples", &o.sampling.interior_samples},
          {"sampling.edge_samples", &o.sampling.edge_samples},
          {"sampling.light_rays", &o.sampling.light_rays},
          {"sampling.light_step_mm", &o.sampling.light_step_mm},
          {"sampling.threads", &o.sampling.threads}};
}

std::map<std::string, Target> targets(SceneOptions& o) {
  std::map<std::string, Target> all = shell_targets(o);
  all.merge(photo_targets(o));
  return all;
}

double number(const std::string& name, const std::string& text) {
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  if (text.empty() || *end != 0 || !std::isfinite(value)) {
    throw core::InputError("scene option " + name + ": \"" + core::one_line(text) + "\" is not a number");
  }
  return value;
}

std::vector<std::string> words(const std::string& text) {
  std::vector<std::string> out;
  std::istringstream stream(text);
  for (std::string word; std::getline(stream, word, ',');) out.push_back(word);
  return out;
}

}  // namespace

void set_option(SceneOptions& o, const std::string& setting) {
  const std::size_t equals = setting.find('=');
  const std::string name = setting.substr(0, equals);
  if (equals == std::string::npos)
    throw core::InputError("scene option \"" + core::one_line(setting) + "\" has no = and value");
  const std::string text = setting.substr(equals + 1);
  if (name == "name") {
    o.name = text;
  } else if (name == "camera.name") {
    o.camera.name = text;
  } else if (name == "resin.colour") {
    o.resin.colour = text;
  } else if (name == "seed") {
    o.seed = static_cast<std::uint64_t>(number(name, text));
  } else if (name == "look.woods") {
    o.look.woods = words(text);
  } else if (name == "cards.cards" || name == "second_bowl.cards") {
    std::vector<int>& cards = name == "cards.cards" ? o.cards.cards : o.second_bowl.cards;
    cards.clear();
    for (const std::string& word : words(text)) cards.push_back(static_cast<int>(number(name, word)));
  } else {
    const std::map<std::string, Target> all = targets(o);
    const auto it = all.find(name);
    if (it == all.end()) throw core::InputError("no scene option is called \"" + core::one_line(name) + "\"");
    const double value = number(name, text);
    std::visit(
        [value](auto* target) { *target = static_cast<std::remove_pointer_t<decltype(target)>>(value); },
        it->second);
  }
}

std::vector<std::string> option_names() {
  SceneOptions o;
  std::vector<std::string> out = {
      "name", "seed", "camera.name", "look.woods", "cards.cards", "second_bowl.cards", "resin.colour"};
  for (const auto& [name, target] : targets(o)) out.push_back(name);
  return out;
}

}  // namespace interstice::renderer
