// What an earlier refill.json tells of its seams: how wide each was and whether it filled.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "refill/fill_limit.h"
#include "refill/refill_document.h"

namespace interstice::refill {

struct KeptOutcome {
  TilePair tiles;  // in the order of their names
  SeamOutcome outcome;
};

// Seams that were seen and have a width, in the file's order. Throws InputError for a file that is no refill.json.
std::vector<KeptOutcome> read_outcomes(const std::filesystem::path& path);

}  // namespace interstice::refill
