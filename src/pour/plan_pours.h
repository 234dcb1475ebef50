// From a measured shell to what the maker should do before and while pouring.
#pragma once

#include <optional>

#include "pour/pour_document.h"

namespace interstice::pour {

// Throws InputError when fit and plan do not belong together. The result does not depend on options.threads.
// Without a resin, times, masses and lifts are left out.
PourDocument plan_pours(const seams::FitDocument& fit, const plan::Plan& plan,
                        const std::optional<Resin>& resin, const PourOptions& options);

}  // namespace interstice::pour
