#include "bench/preparing.h"

#include <nlohmann/json.hpp>

#include "bench/measuring_orders.h"
#include "bench/uploads.h"

namespace fs = std::filesystem;

namespace interstice::bench {

void Preparing::photo_seen(const ScanOfBowl& scan, const std::string& photo) {
  const std::optional<Bowl> bowl = folder_.bowl(scan.bowl);
  const std::optional<fs::path> plan = bowl ? plan_to_measure_by(folder_, *bowl, scan) : std::nullopt;
  if (!plan || folder_.free_bytes() < kFreeBytesKept) return;
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    if (!asked_.insert(scan.bowl + "/" + scan.key + "/" + photo).second) return;
  }
  const fs::path folder = folder_.scan_path(scan.bowl, scan.key);
  const nlohmann::ordered_json question = {{"do", "prepare"},
                                           {"photo", (folder / "photos" / photo).string()},
                                           {"plan", plan->string()},
                                           {"lens", lens_of(folder_, *bowl)},
                                           {"kept", kept_of(folder_, scan)}};
  worker_.ask(question.dump(), WorkerPool::Haste::soon, [](const std::optional<std::string>&) {});
}

}  // namespace interstice::bench
