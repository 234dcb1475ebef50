// From a measured shell to what the maker should do before and while pouring.
#pragma once

#include <memory>
#include <optional>

#include "pour/pour_document.h"

namespace interstice::pour {

// What resin reaches and what is stranded, before tilts are searched: work that needs no more can begin on it.
class ResinReach {
 public:
  // As plan_pours(). `plan` must outlive it.
  ResinReach(const seams::FitDocument& fit, const plan::Plan& plan, const PourOptions& options);
  ~ResinReach();
  // All that is known yet: coverage, network, volumes, stranded places; no pours.
  const PourDocument& document() const;
  PourDocument with_pours(const std::optional<Resin>& resin, const PourOptions& options) const;

 private:
  struct State;
  std::unique_ptr<const State> state_;
};

// Throws InputError when fit and plan do not belong together. The result does not depend on options.threads.
// Without a resin, times, masses and lifts are left out.
PourDocument plan_pours(const seams::FitDocument& fit, const plan::Plan& plan,
                        const std::optional<Resin>& resin, const PourOptions& options);

}  // namespace interstice::pour
