// The page after a pour: hollows ringed on photos, a list to tick, the map, the next pour, what was foretold.
// One file that opens offline, without scripts. Every text from a plan or a file name is escaped.
#pragma once

#include <string>
#include <vector>

#include "refill/refill_document.h"
#include "report/photo_marks.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::report {

struct RefillPageInput {
  const refill::RefillDocument& document;
  const seams::FitDocument& dry;
  const scan::Scan& scan;                  // poses in the dry frame
  const std::vector<MarkedPhoto>& marked;  // with their pictures
  int threads = 0;
  const scan::Scan* before =
      nullptr;  // the dry scan, for pictures of before the pour; null: its photos are gone
};

std::string refill_page(const RefillPageInput& input);

}  // namespace interstice::report
