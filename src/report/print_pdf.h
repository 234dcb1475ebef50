// Printing the page to PDF by an installed browser without a window.
#pragma once

#include <chrono>
#include <string>

namespace interstice::report {

// The page (HTML) as PDF. Uses `chromium` (Debian's package of that name) from the PATH; throws InputError
// with what to do when there is none, it fails, or it is not done within `limit`. Nothing that it started or
// wrote stays, also when the program is told to stop meanwhile.
std::string print_pdf(const std::string& page, std::chrono::milliseconds limit = std::chrono::minutes(2));

}  // namespace interstice::report
