// The stage after a pour as one call: which seams stand filled, what stayed hollow, how to fill it.
// Everything in the frame of the dry measurement, mm. The result does not depend on options.threads.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "plan/plan.h"
#include "pour/resin.h"
#include "refill/refill_document.h"
#include "scan/scan.h"

namespace interstice::refill {

struct RefillOptions {
  std::optional<pour::Resin> resin;
  int threads = 0;
  std::function<void(const std::string&)> progress = [](const std::string&) {};
};

struct RefillResult {
  RefillDocument document;
  scan::Scan scan;  // the photos with their poses in the dry frame
};

// `scan`: photos of the poured shell, in its own bowl frame turned to the plan; `dry`: the measurement before the
// pour. Throws MeasureError when the pieces do not lie where `dry` has them, or when no resin stands in the seams.
RefillResult look_after_pour(const scan::Scan& scan, const seams::FitDocument& dry, const plan::Plan& plan,
                             const RefillOptions& options);

}  // namespace interstice::refill
