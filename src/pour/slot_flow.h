// How far resin flows in a slot while it thickens.
//
// Model: laminar flow between parallel plates w apart (plane Poiseuille, lubrication): mean velocity
// v = w^2 G / (12 mu) for a pressure gradient G; free draining G = rho g; capillary pressure
// p = 2 gamma cos(theta) / w; a horizontal slot wicks L^2 = w gamma cos(theta) t / (3 mu). With viscosity
// rising as mu(t) = mu0 2^(t / doubling), time enters only through the fluidity integral Phi(t) = integral of
// dt / mu = (doubling / (mu0 ln 2)) (1 - 2^(-t / doubling)), which stays finite: beyond a certain distance
// resin sets before it arrives, however long one waits. A long bubble in a sealed vertical tube does not rise
// by itself below the diameter 2 x 0.918 sqrt(gamma / (rho g)) (F. P. Bretherton 1961,
// doi 10.1017/S0022112061000160). That is for round tubes; for seams it is an indication only. SI units
// inside the formulas; names carry the unit.
#pragma once

#include <Eigen/Core>

#include "pour/resin.h"

namespace interstice::pour {

inline constexpr double kGravity_m_s2 = 9.81;

double slot_mean_velocity_m_s(double width_m, double gradient_pa_m, double viscosity_pa_s);
double capillary_pressure_pa(double width_m, double tension_n_m, double contact_angle_rad);
double wicking_length_m(double width_m, double tension_n_m, double contact_angle_rad, double fluidity_per_pa);

double viscosity_pa_s(double time_s, double initial_pa_s, double doubling_s);
double fluidity_per_pa(double time_s, double initial_pa_s, double doubling_s);  // infinity as time is allowed
// The time after which the fluidity integral reaches a value; infinity if it never does.
double time_for_fluidity_s(double fluidity_per_pa, double initial_pa_s, double doubling_s);

double bubble_lock_diameter_m(double tension_n_m, double density_kg_m3, double gravity_m_s2 = kGravity_m_s2);

// What one resin does in a seam of one width within its working time.
struct SlotReach {
  double width_mm = 0;
  double draining_mm = 0;  // straight down, under its own weight
  double wicking_mm = 0;   // level, drawn in by the wood alone
  double level_mm = 0;     // level, pushed by a head of `head_mm` of resin and drawn in
};
SlotReach slot_reach(double width_mm, double head_mm, const Resin& resin);

}  // namespace interstice::pour
