#include "pour/resin.h"

#include <algorithm>
#include <array>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::pour {

namespace {

constexpr std::array kKeys{"name",
                           "density_g_ml",
                           "mixed_viscosity_mpa_s",
                           "viscosity_doubling_min",
                           "pot_life_min",
                           "surface_tension_mn_m",
                           "contact_angle_deg",
                           "max_depth_mm",
                           "mix_by_volume",
                           "mix_by_mass",
                           "set_h"};

void refuse_unknown(const nlohmann::json& document, const core::JsonNode& root) {
  if (!document.is_object()) return;
  for (const auto& [key, value] : document.items()) {
    if (std::find(kKeys.begin(), kKeys.end(), key) != kKeys.end()) continue;
    std::string known;
    for (const char* k : kKeys) known += (known.empty() ? "" : ", ") + std::string(k);
    root.fail("\"" + core::one_line(key, 40) + "\" is not known here; known are " + known);
  }
}

std::optional<std::array<double, 2>> read_parts(const core::JsonNode& root, const char* key) {
  if (!root.has(key)) return std::nullopt;
  const std::vector<double> parts = root.at(key).numbers(2);
  for (const double x : parts) {
    if (!(x > 0 && x <= 1000)) root.at(key).fail("needs two parts, of A and of B, above 0 and up to 1000");
  }
  return std::array<double, 2>{parts[0], parts[1]};
}

}  // namespace

Resin parse_resin(const std::string& json_text, const std::string& file) {
  const nlohmann::json document = core::parse_json(json_text, file);
  const core::JsonNode root(document, file);
  refuse_unknown(document, root);
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
  resin.mix_by_volume = read_parts(root, "mix_by_volume");
  resin.mix_by_mass = read_parts(root, "mix_by_mass");
  if (root.has("set_h")) resin.set_h = root.at("set_h").number(0.01, 1000);
  return resin;
}

Resin read_resin(const std::filesystem::path& path) {
  return parse_resin(core::read_file(path, 1u << 20), path.string());
}

}  // namespace interstice::pour
