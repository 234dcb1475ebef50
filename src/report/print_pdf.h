// Printing the page to PDF by an installed browser without a window.
#pragma once

#include <string>

namespace interstice::report {

// The page (HTML) as PDF. Uses `chromium` (Debian's package of that name) from the PATH; throws InputError
// with what to do when there is none or it fails.
std::string print_pdf(const std::string& page);

}  // namespace interstice::report
