// The pages of one scan: photos and measuring, and its result in a frame.
#pragma once

#include <string>

#include "bench/folder.h"

namespace interstice::bench {

std::string scan_page(const Bowl& bowl, const ScanOfBowl& scan);
std::string result_page(const Bowl& bowl, const ScanOfBowl& scan);

}  // namespace interstice::bench
