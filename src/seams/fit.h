// The fit stage as one call: pieces found and matched to the plan, their arrises measured, seams judged.
// Bowl frame of the scan (turned so that the plan's labels lie where the plan draws them), mm.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "plan/plan.h"
#include "scan/scan.h"
#include "seams/fit_document.h"
#include "surface/pictures.h"
#include "surface/surface.h"

namespace interstice::seams {

struct FitOptions {
  double smallest_fill_mm = 3.0;
  std::optional<plan::FinishedWall> finished_wall;  // verdicts look no further; empty: the whole thickness
  int threads = 0;
  std::function<void(const std::string&)> progress = [](const std::string&) {};
};

FitDocument fit_pieces(const scan::Scan& scan, const surface::Surface& surface, const plan::Plan& plan,
                       const FitOptions& options);
// The same with the photos' pictures at hand: full size, in colour.
FitDocument fit_pieces(const scan::Scan& scan,
                       const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                       const surface::Surface& surface, const plan::Plan& plan, const FitOptions& options);

}  // namespace interstice::seams
