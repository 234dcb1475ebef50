// The pages the sweeps write: what somebody wrote above the tables stays.
#pragma once

#include <filesystem>
#include <string>

namespace interstice::sweep {

inline constexpr const char* kTablesFrom = "<!-- Tables: written by the sweep. -->\n";

// The page's text down to the tables, with their mark; the preamble where there is no page yet.
std::string above_tables(const std::filesystem::path& file, const std::string& preamble);

}  // namespace interstice::sweep
