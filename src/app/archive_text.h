// What the archive commands print, for people and as JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "archive/archive.h"
#include "archive/compare.h"
#include "archive/gap_statistics.h"

namespace interstice::app::archive_text {

using Json = nlohmann::ordered_json;

std::string list(const std::vector<archive::Entry>& entries);
Json list_json(const std::vector<archive::Entry>& entries);

std::string entry(const archive::Entry& entry, const std::string& folder);
Json entry_json(const archive::Entry& entry, const std::string& folder);

std::string comparison(const archive::Comparison& comparison, const archive::Entry& before,
                       const archive::Entry& after);
Json comparison_json(const archive::Comparison& comparison, const archive::Entry& before,
                     const archive::Entry& after);

std::string learned(const archive::Learned& learned);
Json learned_json(const archive::Learned& learned);

// "12.3 MB"
std::string size(std::uintmax_t bytes);

}  // namespace interstice::app::archive_text
