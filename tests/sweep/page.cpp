#include "sweep/page.h"

#include "core/files.h"

namespace interstice::sweep {

std::string above_tables(const std::filesystem::path& file, const std::string& preamble) {
  if (std::filesystem::exists(file)) {
    const std::string old = core::read_file(file);
    const std::size_t at = old.find(kTablesFrom);
    if (at != std::string::npos) return old.substr(0, at) + kTablesFrom;
  }
  return preamble + kTablesFrom;
}

}  // namespace interstice::sweep
