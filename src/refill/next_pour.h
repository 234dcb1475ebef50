// The next pour: how the shell must lie so that every hollow can be filled from above, in the fewest leans.
//
// Model. A hollow is a cup whose brim is its opening. Leaned by an angle from where its opening looks straight up,
// resin runs out over the lower brim unless tape dams it: flat over the lower part, standing up as a fence where
// resin is let in. The fence must be as high as the inlet's rise, run * tan(angle), and tape stands up to 10 mm by
// itself (common practice, no source). A slot longer than the inlet is taped over but for its upper end, so the
// run is the inlet's at most. A rise of less than half a millimetre holds by itself (the height resin stands over
// a brim is of the order of its capillary length, 1.8 mm for 35 mN/m and 1.1 g/ml).
// Leans are chosen as a smallest cover: exact up to three, greedy beyond. Among covers as small, the least leaned.
//
// Narrower than this maker's own limit (the plan's smallest fill without one), a hollow is not filled by gravity:
// a blunt needle pushes resin in where it fits, else the slot is opened with a drill or blade first. Pressure of a
// needle: Hagen-Poiseuille, dp = 128 mu L Q / (pi d^4). mm, ml, degrees, bowl frame.
#pragma once

#include <optional>
#include <vector>

#include "plan/plan.h"
#include "pour/resin.h"
#include "refill/refill_document.h"

namespace interstice::refill {

// Fence needed to fill a hollow when `up` is up, mm; empty: it cannot be filled so.
std::optional<double> fence_mm(const Hollow& hollow, const Eigen::Vector3d& up);

std::vector<RefillPour> plan_refill(const std::vector<Hollow>& hollows, const plan::Plan& plan);

std::vector<HollowAdvice> advise(const std::vector<Hollow>& hollows, double narrowest_mm,
                                 const std::optional<pour::Resin>& resin);

// Pressure to push a flow through a needle, Pa.
double needle_pressure_pa(double viscosity_pa_s, double length_m, double flow_m3_s, double bore_m);

// The least batch of which both parts can be weighed to 2 % on a scale that reads 0.1 g, three parts to one.
inline constexpr double kLeastBatch_ml = 20;

}  // namespace interstice::refill
