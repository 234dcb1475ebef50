// The archive of a bench's folder: what is kept, two of it compared, what the seams teach.
#pragma once

#include <string>

#include "bench/services.h"

namespace interstice::bench {

// /archive, /archive/compare?a=ENTRY&b=ENTRY, /archive/learn. The words of the latter two are the program's own.
Response answer_for_archive(const Services& services, const Request& request, const std::string& program);

}  // namespace interstice::bench
