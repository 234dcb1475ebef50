// What the bench asks of the program: the arguments a maker would type, for the folder's own paths.
#pragma once

#include "bench/folder.h"
#include "bench/jobs.h"

namespace interstice::bench {

// Measures a scan by what it is of (ScanKind). After a ring: inspect, then, where earlier rings are measured, the
// page with what changed. Throws InputError when there are no photos, or no plan or dry measurement where one is
// needed.
JobOrder measuring_order(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan);

// The plan that a scan's photos are measured by; nothing for scans that need none or have none yet.
std::optional<std::filesystem::path> plan_to_measure_by(const Folder& folder, const Bowl& bowl,
                                                        const ScanOfBowl& scan);
// The bowl's lens file; empty without one.
std::string lens_of(const Folder& folder, const Bowl& bowl);
// Where the work on a scan's single photos is kept (core/kept_work.h).
std::string kept_of(const Folder& folder, const ScanOfBowl& scan);

// The kind of its jobs, and what the button that begins them says.
const char* measuring_kind(ScanKind kind);
const char* measuring_words(ScanKind kind);

// Cutting patterns of the plan, bowls/BOWL/patterns.pdf.
JobOrder patterns_order(const Folder& folder, const Bowl& bowl);

// A layout over a form, bowls/BOWL/plan.json. `form`: the file that describes it.
struct LayoutWanted {
  double thickness_mm = 0, piece_size_mm = 0, smallest_fill_mm = 3;
};
JobOrder layout_order(const Folder& folder, const Bowl& bowl, const std::filesystem::path& form,
                      const LayoutWanted& wanted);

// Puts a measured scan into FOLDER/archive under the bowl's name.
JobOrder keeping_order(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan,
                       const std::string& wood);

// Whether a scan has a result, and the page that shows it: with what changed where that is up to date.
bool is_measured(const Folder& folder, const ScanOfBowl& scan);
std::vector<std::string> page_of_result(const Folder& folder, const ScanOfBowl& scan);

}  // namespace interstice::bench
