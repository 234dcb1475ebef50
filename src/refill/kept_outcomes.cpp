#include "refill/kept_outcomes.h"

#include <algorithm>

#include "core/json_reader.h"

namespace interstice::refill {

std::vector<KeptOutcome> read_outcomes(const std::filesystem::path& path) {
  const nlohmann::json json = core::read_json(path);
  const core::JsonNode root(json, path.string());
  if (root.at("format").text() != "interstice-refill") root.at("format").fail("is not \"interstice-refill\"");
  const core::JsonNode seams = root.at("seams");
  std::vector<KeptOutcome> out;
  for (std::size_t i = 0; i < seams.size(); ++i) {
    const core::JsonNode seam = seams.at(i);
    const std::string state = seam.at("state").text();
    if (state != name_of(SeamState::filled) && state != name_of(SeamState::hollow)) continue;
    if (!seam.has("width_mm") || seam.at("width_mm").is_null()) continue;
    KeptOutcome kept{{seam.at("tiles").at(0).text(), seam.at("tiles").at(1).text()},
                     {seam.at("width_mm").number(0, 1000), state == name_of(SeamState::filled)}};
    std::sort(kept.tiles.begin(), kept.tiles.end());
    out.push_back(std::move(kept));
  }
  return out;
}

}  // namespace interstice::refill
