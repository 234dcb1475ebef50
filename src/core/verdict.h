// The verdict on a seam, and every number it rests on: here and nowhere else.
//
// Rule. A width is known by its best estimate and its standard uncertainty u. Against the smallest fill it is
// proved wide enough (or too narrow) when it lies beyond the limit by the guard band of 1.645 u, so that one in
// twenty such proofs is wrong at the limit itself (ISO 14253-1; JCGM 106:2012, 8.3). A seam has two widths: its
// mouth, the visible lip, and its throat, the narrowest place between there and the depth that the finished wall
// keeps. Resin passes where both are wide enough:
//
//   mouth proved too narrow                                  too tight
//   mouth proved wide enough, throat likely too narrow       pinched (likely: 60 %)
//   mouth in doubt, throat proved too narrow                 too tight or pinched: the likelier
//   mouth and throat proved wide enough                      clear
//   else                                                     doubtful: the mouth, or if that is proved, the throat
//
// Where the throat alone proves that resin does not pass, what is left is the name: a mouth whose best estimate is too
// narrow is what keeps it out first. Behind a wide mouth a pinch is called before it is proved: who is told "doubtful" looks again from outside, and nobody sees a
// throat from there; and easing a wall that needed none costs strokes, pouring onto a pinch a hole
// (.docs/decisions/clear-means-it-fills.md). Where no throat is known, nothing is clear but by the mouth (documents of before).
//
// Units: mm. u95 is the expanded uncertainty U = k u with k = 2 (JCGM 100:2008, 6.2, G.6.6).
#pragma once

#include <optional>

namespace interstice::core {

struct Width {
  double mm = 0;
  double u_mm = 0;  // standard uncertainty
};

inline constexpr double kCoverage = 2.0;       // u95 over u
inline constexpr double kGuard = 1.645;        // of a normal deviate: one-sided 95 % (any table of it)
inline constexpr double kLikely = 0.2533;      // the same for 60 %
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
constexpr bool likely_narrow(const Width& w, double limit_mm) {
  return w.mm < limit_mm && w.mm <= limit_mm - kLikely * w.u_mm;
}

enum class Verdict { too_tight, pinched, doubtful, clear, unseen };
enum class Doubt { none, mouth, throat };

struct Judgement {
  Verdict verdict = Verdict::unseen;
  Doubt doubt = Doubt::none;  // of a doubtful seam
};

// `throat` empty: it is not known, or the finished wall keeps none.
constexpr Judgement judge(const Width& mouth, const std::optional<Width>& throat, double smallest_fill_mm) {
  if (proved_narrow(mouth, smallest_fill_mm)) return {Verdict::too_tight, Doubt::none};
  const bool wide = proved_wide(mouth, smallest_fill_mm);
  if (throat && (wide ? likely_narrow(*throat, smallest_fill_mm) : proved_narrow(*throat, smallest_fill_mm)))
    return {mouth.mm < smallest_fill_mm ? Verdict::too_tight : Verdict::pinched, Doubt::none};
  if (!wide) return {Verdict::doubtful, Doubt::mouth};
  if (throat && !proved_wide(*throat, smallest_fill_mm)) return {Verdict::doubtful, Doubt::throat};
  return {Verdict::clear, Doubt::none};
}

constexpr const char* name_of(Verdict verdict) {
  constexpr const char* names[] = {"too tight", "pinched", "doubtful", "clear", "unseen"};
  return names[static_cast<int>(verdict)];
}
constexpr const char* name_of(Doubt doubt) {
  constexpr const char* names[] = {"none", "mouth", "throat"};
  return names[static_cast<int>(doubt)];
}

}  // namespace interstice::core
