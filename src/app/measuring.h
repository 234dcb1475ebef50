// What the measuring commands (scan, fit, inspect) share: their options and the stages in a row.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "app/commands.h"
#include "app/making.h"
#include "core/result_folder.h"
#include "plan/plan.h"
#include "report/photo_marks.h"
#include "scan/scan.h"
#include "seams/fit.h"
#include "surface/surface.h"

namespace interstice::app {

struct MeasuringArguments {
  CommonOptions common;
  std::string photos, plan, lens, kept, out;
  bool replace = false;
  std::optional<double> check_line_mm, smallest_fill_mm;
};

void add_measuring_options(CLI::App& command, MeasuringArguments& arguments);
// Of those, --lens, --check-line, --kept, --out and --replace.
void add_lens_options(CLI::App& command, MeasuringArguments& arguments);

struct MeasuredScan {
  plan::Plan plan;
  scan::Scan scan;
  surface::Surface surface;
};

// What a folder of results says of itself.
core::ResultOf result_of(const MeasuringArguments& arguments, const std::string& command,
                         const plan::Plan& plan);

// Reads the lens, measures the photos. The turn about the axis is found from the plan's pattern unless something
// that knows more finds it (Turn::angle).
using FindTurn = std::function<double(const scan::Scan&)>;
MeasuredScan measure_scan(const MeasuringArguments& arguments, const plan::Plan& plan, Progress& progress,
                          const FindTurn& find_turn = {});

// cameras.json, scan.json, surface.json, heights.tif, agreement.tif, ortho.png into a new folder.
void write_scan_folder(const MeasuredScan& measured, const std::filesystem::path& folder);

// Into a new folder of that name; nothing without pictures.
void write_marked_photos(const std::vector<report::MarkedPhoto>& marked, const std::filesystem::path& folder);
constexpr int kMarkedPx = 2000;  // on the longer side: readable on a tablet, small enough to send

// What the maker should know about the measurement, one line each, for standard output.
std::string measurement_notes(const seams::FitDocument& fit);

}  // namespace interstice::app
