// From a folder of photos of the bare form to measured cameras round it, without a drawing.
//
// Frame `bowl` as in scan/scan.h; its x axis points towards the card of the lowest number, so that directions
// can be told to a person. The bench lies one paper's thickness under the cards' print; the rim stands on the
// bench. Errors: as scan_photos(); MeasureError also when no form is found.
#pragma once

#include <numbers>
#include <vector>

#include "geometry/profile.h"
#include "scan/scan.h"

namespace interstice::form {

// How high the cards' print lies over the bench: printing papers of 80 to 160 g a square metre are 0.1 to 0.2 mm
// thick (common practice, no source), evenly spread over it.
inline constexpr double kPaper_mm = 0.15, kPaperSd_mm = 0.1 / (2 * std::numbers::sqrt3);

struct CardDirection {
  int card = 0;
  double angle = 0;  // rad, counter-clockwise from x
};

struct BareScan {
  scan::Scan scan;
  geometry::Profile rough;           // the meridian, good to about a millimetre
  std::vector<CardDirection> cards;  // by number
  double cards_uneven_mm = 0;  // their corners' height over one plane, root mean square: how flat they lie
};

BareScan scan_bare_form(const std::filesystem::path& folder, const scan::ScanOptions& options);

// The same scan in another bowl frame.
scan::Scan moved_scan(scan::Scan scan, const Eigen::Isometry3d& new_T_old);

}  // namespace interstice::form
