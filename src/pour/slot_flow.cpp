#include "pour/slot_flow.h"

#include <cmath>
#include <limits>
#include <numbers>

namespace interstice::pour {

double slot_mean_velocity_m_s(double width, double gradient, double viscosity) {
  return width * width * gradient / (12 * viscosity);
}

double capillary_pressure_pa(double width, double tension, double angle) {
  return 2 * tension * std::cos(angle) / width;
}

double wicking_length_m(double width, double tension, double angle, double fluidity) {
  return std::sqrt(std::max(0.0, width * tension * std::cos(angle) * fluidity / 3));
}

double viscosity_pa_s(double time, double initial, double doubling) {
  return initial * std::exp2(time / doubling);
}

double fluidity_per_pa(double time, double initial, double doubling) {
  if (std::isinf(doubling)) return time / initial;
  return doubling / (initial * std::numbers::ln2) * -std::expm1(-time / doubling * std::numbers::ln2);
}

double time_for_fluidity_s(double fluidity, double initial, double doubling) {
  if (std::isinf(doubling)) return fluidity * initial;
  const double left = 1 - fluidity * initial * std::numbers::ln2 / doubling;
  return left > 0 ? -doubling * std::log2(left) : std::numeric_limits<double>::infinity();
}

double bubble_lock_diameter_m(double tension, double density, double gravity) {
  return 2 * 0.918 * std::sqrt(tension / (density * gravity));
}

SlotReach slot_reach(double width_mm, double head_mm, const Resin& resin) {
  const double width = width_mm / 1000, density = resin.density_g_ml * 1000,
               mu = resin.viscosity_mpa_s / 1000;
  const double tension = resin.surface_tension_mn_m / 1000;
  const double angle = resin.contact_angle_deg * std::numbers::pi / 180;
  const double fluidity = fluidity_per_pa(resin.pot_life_min * 60, mu, resin.doubling_min * 60);
  SlotReach reach;
  reach.width_mm = width_mm;
  reach.draining_mm = 1000 * width * width / 12 * density * kGravity_m_s2 * fluidity;
  reach.wicking_mm = 1000 * wicking_length_m(width, tension, angle, fluidity);
  // A steady pressure p over a growing length L: L dL = w^2 p / (12 mu) dt.
  const double pressure =
      density * kGravity_m_s2 * head_mm / 1000 + capillary_pressure_pa(width, tension, angle);
  reach.level_mm = 1000 * std::sqrt(std::max(0.0, width * width * pressure * fluidity / 6));
  return reach;
}

}  // namespace interstice::pour
