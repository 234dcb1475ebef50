// The verdict on a seam, and every number it rests on: here and nowhere else.
//
// Rule. A width is known by its best estimate and its standard uncertainty u. Against the smallest fill it is
// proved wide enough (or too narrow) when it lies beyond the limit by the guard band of 1.645 u, so that one in
// twenty such proofs is wrong at the limit itself (ISO 14253-1; JCGM 106:2012, 8.3). In between it is doubtful.
//
// Units: mm. u95 is the expanded uncertainty U = k u with k = 2 (JCGM 100:2008, 6.2, G.6.6).
#pragma once

namespace interstice::core {

struct Width {
  double mm = 0;
  double u_mm = 0;  // standard uncertainty
};

inline constexpr double kCoverage = 2.0;       // u95 over u
inline constexpr double kGuard = 1.645;        // of a normal deviate: one-sided 95 % (any table of it)
inline constexpr double kWidestSeam_mm = 8.0;  // pieces farther apart have no seam
inline constexpr double kLeastSeam_mm = 5.0;   // over a shorter length two pieces only meet in a junction
// Measured lengths are counted in steps of half a millimetre and may want one at either end.
inline constexpr double kSeamStep_mm = 0.5;
inline constexpr double kLeastMeasuredSeam_mm = kLeastSeam_mm - 2 * kSeamStep_mm;

constexpr double expanded_mm(double u_mm) {
  return kCoverage * u_mm;
}
constexpr Width width_of(double mm, double u95_mm) {
  return {mm, u95_mm / kCoverage};
}
constexpr double guard_band_mm(double u95_mm) {
  return kGuard * u95_mm / kCoverage;
}
constexpr bool proved_wide(const Width& w, double limit_mm) {
  return w.mm >= limit_mm + kGuard * w.u_mm;
}
// At the limit itself, known without uncertainty, resin passes.
constexpr bool proved_narrow(const Width& w, double limit_mm) {
  return w.mm < limit_mm && w.mm <= limit_mm - kGuard * w.u_mm;
}

enum class Verdict { too_tight, doubtful, clear, unseen };

constexpr Verdict judge(const Width& mouth, double smallest_fill_mm) {
  if (proved_wide(mouth, smallest_fill_mm)) return Verdict::clear;
  return proved_narrow(mouth, smallest_fill_mm) ? Verdict::too_tight : Verdict::doubtful;
}

constexpr const char* name_of(Verdict verdict) {
  constexpr const char* names[] = {"too tight", "doubtful", "clear", "unseen"};
  return names[static_cast<int>(verdict)];
}

}  // namespace interstice::core
