// The scan with what each photo gives by itself (scan/photo_work.h) found in, and put into, a folder of such work.
#pragma once

#include "core/kept_work.h"
#include "scan/scan.h"

namespace interstice::scan {

// As scan_photos(), and the same result. `kept` may be null.
Scan scan_photos_keeping(const std::filesystem::path& folder, const plan::Plan& plan,
                         const ScanOptions& options, const core::KeptWork* kept);

}  // namespace interstice::scan
