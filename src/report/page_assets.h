// Style sheet and scripts of the page, from src/report/page/ and the installed three.js, built into the
// program.
#pragma once

#include <string_view>

namespace interstice::report {

std::string_view page_css();
std::string_view page_js();
std::string_view view_js();   // the view in 3-D
std::string_view three_js();  // three.js, MIT licence, as installed when the program was built

}  // namespace interstice::report
