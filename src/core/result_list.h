// result.json: what was written into a folder of results, by which command, of which piece. By it a later run
// knows what is its own; whatever else stands in the folder is somebody's.
//
//   { "format": "interstice-result", "version": 1, "command": "inspect", "piece": "plover",
//     "files": [ { "path": "fit.json", "bytes": 51234, "sha256": "..." } ] }
//
// Paths are relative, '/' between folders, sorted by bytes. result.json itself is not among them.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/inputs.h"

namespace interstice::core {

inline constexpr const char* kResultList = "result.json";

struct ListedFile {
  std::string path;
  std::uintmax_t bytes = 0;
  std::string sha256;
};

struct ResultList {
  std::string command, piece;
  std::vector<ListedFile> files;
};

std::string write_result_list(const ResultList& list);
// Throws InputError (file, place, fault); paths that lead out of the folder are refused.
ResultList parse_result_list(const std::string& text, const std::string& file);

// What stands in a folder, as it would be listed. Throws InputError.
std::vector<ListedFile> files_to_list(const std::filesystem::path& folder);

// The first thing in the folder that is not ours as listed: its path and what is the matter ("photos is not
// of this result", "seams.csv was changed since it was written"); an input of this run counts as well.
std::optional<std::string> foreign_entry(const std::filesystem::path& folder, const ResultList& list,
                                         const Inputs& inputs);

// Removes what result.json lists, as far as it is as it was written, then the folders left empty, then
// result.json and the folder. True: nothing is left. Links are not followed.
bool remove_listed(const std::filesystem::path& folder);

}  // namespace interstice::core
