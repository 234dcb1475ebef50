// Answers to what is asked of one scan: its page, its photos, measuring, its result and ticks.
#pragma once

#include "bench/services.h"

namespace interstice::bench {

// `request.parts`: b, BOWL, s, SCAN, and what is asked of it.
Response answer_for_scan(const Services& services, const Request& request, const Bowl& bowl,
                         const ScanOfBowl& scan);

// What the scan's page shows, as JSON for its script:
//   { "photos": [{"name", "checked", "cards", "place", "faults": [], "notes": []}], "aside": [names],
//     "dial": SVG, "placed": 12, "missing": ["low, at 4 o'clock"], "enough": false, "measured": true,
//     "job": {...} }
std::string scan_state(const Services& services, const ScanOfBowl& scan);

// A job for scripts: {"id", "words", "state", "message", "stage", "share", "seconds_left", "place"}.
std::string job_json(const Job& job);

}  // namespace interstice::bench
