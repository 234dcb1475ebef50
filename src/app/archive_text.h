// What the archive commands print, for people and as JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "archive/archive.h"
#include "archive/compare.h"
#include "archive/learn.h"

namespace interstice::archive_text {

using Json = nlohmann::ordered_json;

std::string list(const std::vector<Entry>& entries);
Json list_json(const std::vector<Entry>& entries);

std::string entry(const Entry& entry, const std::string& folder);
Json entry_json(const Entry& entry, const std::string& folder);

std::string comparison(const Comparison& comparison, const Entry& before, const Entry& after);
Json comparison_json(const Comparison& comparison, const Entry& before, const Entry& after);

std::string learned(const Learned& learned);
Json learned_json(const Learned& learned);

// "12.3 MB"
std::string size(std::uintmax_t bytes);

}  // namespace interstice::archive_text
