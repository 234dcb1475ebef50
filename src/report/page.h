// report.html: what a maker takes to the bench. One file with everything in it; it asks nothing of a network,
// opens on a phone or laptop, and prints. The words, lists, photos and drawings are plain HTML and SVG, so
// they show without scripts too; scripts add zooming, units, remembered check boxes and the view in 3-D.
//
// Every text that comes from a plan, a file name or a document is escaped (report/markup.h).
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "report/pour_sheet.h"
#include "scan/scan.h"
#include "seams/fit_document.h"
#include "surface/height_field.h"
#include "surface/map_grid.h"

namespace interstice::report {

enum class PagePaper { any, a4, letter };  // any: whatever the reader's printer holds

// An earlier scan of the same piece.
struct EarlierScan {
  std::string name;  // as the maker calls it: its folder
  seams::FitDocument fit;
};

struct PageInput {
  seams::FitDocument fit;
  plan::Plan plan;
  scan::Scan scan;               // photos with poses; their files are read
  surface::HeightField heights;  // over the plan's profile
  surface::MapGrid ortho_grid;
  cv::Mat ortho;  // CV_8UC3, on ortho_grid
  std::optional<PourSheet> pour;
  std::vector<EarlierScan> earlier;  // oldest first
  PagePaper paper = PagePaper::any;
  int threads = 0;
};

// The page. A photo with an empty path is named as gone; throws PhotoError when one it shows cannot be read.
std::string report_page(const PageInput& input);

}  // namespace interstice::report
