#include "bench/stage_times.h"

#include <algorithm>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::bench {

std::optional<Forecast> forecast(const JobTimes& earlier, std::size_t photos, const std::string& stage,
                                 double seconds_in_stage) {
  const auto at = std::find_if(earlier.stages.begin(), earlier.stages.end(),
                               [&](const StageTime& s) { return s.stage == stage; });
  if (at == earlier.stages.end() || earlier.seconds <= 0) return std::nullopt;
  const double growth = earlier.photos > 0 && photos > 0
                            ? static_cast<double>(photos) / static_cast<double>(earlier.photos)
                            : 1.0;
  const double from = at->seconds * growth;
  const double to = (at + 1 == earlier.stages.end() ? earlier.seconds : (at + 1)->seconds) * growth;
  const double now = std::min(from + std::max(0.0, seconds_in_stage), to);
  const double whole = earlier.seconds * growth;
  return Forecast{std::clamp(now / whole, 0.0, 1.0), std::max(0.0, whole - now)};
}

std::optional<JobTimes> read_times(const std::filesystem::path& file) {
  std::error_code ec;
  if (!std::filesystem::exists(file, ec)) return std::nullopt;
  try {
    const nlohmann::json document = core::read_json(file, 1 << 20);
    const core::JsonNode node(document, file.string());
    JobTimes times;
    times.photos = static_cast<std::size_t>(node.at("photos").integer(0, 1 << 20));
    times.seconds = node.at("seconds").number(0, 1e7);
    const core::JsonNode stages = node.at("stages");
    for (std::size_t i = 0; i < stages.size(); ++i)
      times.stages.push_back({stages.at(i).at("stage").text(400), stages.at(i).at("seconds").number(0, 1e7)});
    return times;
  } catch (const core::InputError&) {
    return std::nullopt;  // a forecast less
  }
}

void write_times(const JobTimes& times, const std::filesystem::path& file) {
  nlohmann::ordered_json document = {{"format", "interstice-bench-times"},
                                     {"version", 1},
                                     {"photos", times.photos},
                                     {"seconds", times.seconds}};
  document["stages"] = nlohmann::ordered_json::array();
  for (const StageTime& s : times.stages)
    document["stages"].push_back({{"stage", s.stage}, {"seconds", s.seconds}});
  core::write_file_atomically(file, document.dump(2) + "\n");
}

}  // namespace interstice::bench
