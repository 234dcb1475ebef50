// What is done of a result's work order, kept for every phone alike: ticks.json beside the scan.
//
//   { "format": "interstice-ticks", "version": 1, "results": { KEY: ["work-1", "pour-2"] } }
//
// KEY tells results apart (the digest of result.json): a new measurement begins with nothing ticked, what was
// ticked of earlier ones stays on record.
#pragma once

#include <filesystem>
#include <mutex>
#include <string>
#include <vector>

namespace interstice::bench {

class Ticks {
 public:
  static constexpr std::size_t kMostResults = 200, kMostTicks = 5000;

  std::vector<std::string> of(const std::filesystem::path& file, const std::string& result) const;
  // Throws InputError for an id that no page of ours gives, or too many.
  void set(const std::filesystem::path& file, const std::string& result, const std::string& id, bool on);

 private:
  mutable std::mutex mutex_;
};

}  // namespace interstice::bench
