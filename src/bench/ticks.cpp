#include "bench/ticks.h"

#include <algorithm>
#include <map>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

using Results = std::map<std::string, std::vector<std::string>>;

bool is_tick(const std::string& id) {
  return !id.empty() && id.size() <= 60 && std::all_of(id.begin(), id.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '-' || c == '_';
  });
}

Results read_results(const fs::path& file) {
  Results results;
  std::error_code ec;
  if (!fs::exists(file, ec)) return results;
  const nlohmann::json document = core::read_json(file, 8 << 20);
  const core::JsonNode all = core::JsonNode(document, file.string()).at("results");
  if (!all.raw().is_object()) all.fail("not an object");
  for (const auto& [key, unused] : all.raw().items()) {
    const core::JsonNode ids = all.at(key);
    for (std::size_t i = 0; i < ids.size(); ++i) results[key].push_back(ids.at(i).text());
  }
  return results;
}

}  // namespace

std::vector<std::string> Ticks::of(const fs::path& file, const std::string& result) const {
  const std::lock_guard<std::mutex> lock(mutex_);
  return read_results(file)[result];
}

void Ticks::set(const fs::path& file, const std::string& result, const std::string& id, bool on) {
  if (!is_tick(id)) throw core::InputError("there is no such box to tick");
  const std::lock_guard<std::mutex> lock(mutex_);
  Results results = read_results(file);
  std::vector<std::string>& ids = results[result];
  std::erase(ids, id);
  if (on) ids.push_back(id);
  if (ids.size() > kMostTicks || results.size() > kMostResults)
    throw core::InputError("no more can be ticked here");
  const nlohmann::ordered_json document = {
      {"format", "interstice-ticks"}, {"version", 1}, {"results", results}};
  core::write_file_atomically(file, document.dump(2) + "\n");
}

}  // namespace interstice::bench
