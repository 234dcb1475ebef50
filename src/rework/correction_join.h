// Sanding and easing of one stretch of an edge as one stroke: taken back and given more bevel at one setting.
#pragma once

#include "rework/correction_layout.h"

namespace interstice::rework {

// Joins, on each touched edge, a stretch that is sanded with one that is eased where they nearly cover each other (of
// the two together the shorter one is at least two thirds), if every seam keeps what it must; the stroke then goes
// over both. Wood off an edge makes no seam narrower; it may open one too far.
void join_strokes(const CorrectionShell& shell, const ByPair<char>& given_up, int threads, LaidOut& out);

}  // namespace interstice::rework
