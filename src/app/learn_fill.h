// This maker's own smallest fill, from all poured pieces that an archive keeps.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "archive/archive.h"
#include "refill/fill_limit.h"

namespace interstice::app {

struct LearntFill {
  std::size_t pieces = 0, seams = 0;
  std::optional<refill::LimitFit> limit;
  std::string why;  // there is no limit
  // To plan with: the upper end of the limit, up to the next tenth of a millimetre; how the kept seams at least so
  // wide came out.
  double proposed_mm = 0;
  std::size_t as_wide = 0, as_wide_filled = 0;
};

// Each seam of a piece counts once: as its first pour left it, for what is filled later is not filled by its width.
LearntFill learn_fill(const archive::Archive& archive);

std::string learnt_fill_words(const LearntFill& learnt);
nlohmann::ordered_json learnt_fill_json(const LearntFill& learnt);

}  // namespace interstice::app
