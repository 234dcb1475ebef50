// The child's side of bench/worker_pool.h: reads questions from standard input until it ends.
//
//   {"do": "clean", "in": FILE, "out": FILE}      takes out of a photo whatever it tells beside the picture
//     -> {"ok": true, "ending": "jpg", "width": 4032, "height": 3024}
//   {"do": "check", "photo": FILE, "smallest_fill_mm": 3, "check": FILE, "small": FILE}    -> {"ok": true}
//   {"do": "prepare", "photo": FILE, "plan": FILE, "lens": FILE or "", "kept": FOLDER}     -> {"ok": true}
//   {"do": "stand", "checks": FOLDER, "photos": [NAME, ...], "lens": FILE or ""}
//     -> {"ok": true, "card_at_twelve": 1, "standpoints": [{"photo", "clock_deg", "height_deg", "distance_mm"}]}
// What cannot be done: {"ok": false, "fault": "is cut short or damaged"}.
#pragma once

#include <string>

#include "bench/dial.h"

namespace interstice::bench {

// Takes the process over; returns when standard input ends. Limits its own memory.
void work_for_bench();

// One question, one answer; never throws.
std::string answer_question(const std::string& line);

Dial parse_dial(const std::string& answer);  // of "stand"; an empty one for anything else

}  // namespace interstice::bench
