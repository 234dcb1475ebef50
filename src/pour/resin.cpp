#include "pour/resin.h"

#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::pour {

Resin parse_resin(const std::string& json_text, const std::string& file) {
  const nlohmann::json document = core::parse_json(json_text, file);
  const core::JsonNode root(document, file);
  Resin resin;
  resin.name = root.has("name") ? root.at("name").text() : "";
  // Limits only catch wrong units: no casting resin is lighter than oil or heavier than a filled one, thinner
  // than water or thicker than honey by ten.
  resin.density_g_ml = root.at("density_g_ml").number(0.7, 3.0);
  resin.viscosity_mpa_s = root.at("mixed_viscosity_mpa_s").number(1, 1e6);
  const bool doubling = root.has("viscosity_doubling_min"), pot_life = root.has("pot_life_min");
  if (!doubling && !pot_life) root.fail("needs \"viscosity_doubling_min\" or \"pot_life_min\", in minutes");
  if (doubling) resin.doubling_min = root.at("viscosity_doubling_min").number(0.1, 1e5);
  if (pot_life) resin.pot_life_min = root.at("pot_life_min").number(0.1, 1e5);
  if (!doubling) resin.doubling_min = resin.pot_life_min;
  if (!pot_life) resin.pot_life_min = resin.doubling_min;
  if (root.has("surface_tension_mn_m"))
    resin.surface_tension_mn_m = root.at("surface_tension_mn_m").number(5, 100);
  if (root.has("contact_angle_deg")) resin.contact_angle_deg = root.at("contact_angle_deg").number(0, 180);
  if (root.has("max_depth_mm")) resin.max_depth_mm = root.at("max_depth_mm").number(1, 1000);
  return resin;
}

Resin read_resin(const std::filesystem::path& path) {
  return parse_resin(core::read_file(path, 1u << 20), path.string());
}

}  // namespace interstice::pour
