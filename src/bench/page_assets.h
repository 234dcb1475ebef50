// The bench's style sheet and scripts, built in (src/report/embed.cmake).
#pragma once

#include <string_view>

namespace interstice::bench {

std::string_view bench_css();
std::string_view bench_js();  // every page: theme, the list of jobs
std::string_view name_js();   // the page on which pieces are named
std::string_view shoot_js();  // a scan's page: uploads, checks, dial, measuring

}  // namespace interstice::bench
