// The pages of bowls: all of them, a new one, one of them.
#pragma once

#include <string>
#include <vector>

#include "bench/folder.h"

namespace interstice::bench {

struct BowlLine {
  Bowl bowl;
  std::size_t pieces = 0;  // planned
  std::size_t scans = 0;
  std::string last;  // what the newest scan is at, in words
};
std::string bowls_page(const std::vector<BowlLine>& bowls);
std::string new_bowl_page();

struct ScanLine {
  ScanOfBowl scan;
  std::size_t photos = 0;
  bool measured = false;
  std::string answer;  // "3 of 46 seams too tight", or what is going on
};
struct BowlPage {
  Bowl bowl;
  bool has_plan = false, has_patterns = false, has_form = false;
  bool may_be_named = false, has_labels = false;
  bool may_look_after_pour = false;  // a ring is measured
  std::string sketch;                // the plan, as SVG
  std::string about;                 // "57 pieces in 6 rings, 14 mm thick", HTML
  std::vector<ScanLine> scans;
  std::vector<std::string> lenses;
  std::string next_name;  // proposed for the next scan
};
std::string bowl_page(const BowlPage& page);
// The list of jobs; filled by its script.
std::string work_page();

}  // namespace interstice::bench
