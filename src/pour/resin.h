// A resin as its data sheet gives it; resin.json.
//
// { "name": "...", "density_g_ml": 1.1, "mixed_viscosity_mpa_s": 600,
//   "viscosity_doubling_min": 25, "pot_life_min": 40,     one of the two may be left out
//   "surface_tension_mn_m": 35,                           optional
//   "contact_angle_deg": 30,                              optional
//   "max_depth_mm": 60,                                   deepest single pour, optional
//   "mix_by_volume": [2, 1], "mix_by_mass": [100, 45],    parts of A (resin) to B (hardener), optional
//   "set_h": 12 }                                         hours until the next pour may follow, optional
// A key that is not named here is refused: misspelt, it would be passed over.
// If only one of doubling and pot life is given the other is taken equal to it: pot life is commonly stated
// as the time in which the mixed viscosity doubles.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>

namespace interstice::pour {

struct Resin {
  std::string name;
  double density_g_ml = 1.1;
  double viscosity_mpa_s = 600;  // mixed, at the start
  double doubling_min = 30;
  double pot_life_min = 30;
  double surface_tension_mn_m = 35;
  double contact_angle_deg = 30;
  std::optional<double> max_depth_mm;
  std::optional<std::array<double, 2>> mix_by_volume, mix_by_mass;  // parts of A and B
  std::optional<double> set_h;
};

// Reads and validates. Throws InputError naming file, place and fault.
Resin read_resin(const std::filesystem::path& path);
Resin parse_resin(const std::string& json_text, const std::string& file);

}  // namespace interstice::pour
