// Finding in an archive of 1000 entries, and checking a bag against what the coreutils need for one digest of
// the same files (both from the page cache: the figure wanted is hash speed, not the disk's).
#include <benchmark/benchmark.h>

#include <chrono>
#include <random>

#include "archive/archive.h"
#include "archive/bag.h"
#include "archive/sample.h"

namespace fs = std::filesystem;

namespace interstice {
namespace {

// 1000 entries: one bag under as many names, files shared.
const fs::path& large_archive() {
  static const sample::Scratch scratch;
  static const fs::path root = [] {
    const plan::Plan plan = sample::plan(3, 8);
    sample::write_results(scratch / "results", plan, sample::built(plan));
    archive::Archive archive = archive::Archive::open_or_make(scratch / "archive");
    const fs::path bag = archive.bag(archive.add(sample::request(scratch / "results", "bowl")).entry.id);
    for (int i = 1; i < 1000; ++i) {
      fs::copy(bag, archive.bag("entry-" + std::to_string(i)),
               fs::copy_options::recursive | fs::copy_options::create_hard_links);
    }
    archive::Archive::rebuild(scratch / "archive");
    return scratch / "archive";
  }();
  return root;
}

void list_1000(benchmark::State& state) {
  const fs::path root = large_archive();
  std::size_t entries = 0;
  for (auto _ : state)
    entries = archive::Archive::open(root).list({}).size();  // with opening, as a command does it
  state.counters["entries"] = static_cast<double>(entries);
}
BENCHMARK(list_1000)->Unit(benchmark::kMillisecond);

void search_1000(benchmark::State& state) {
  const fs::path root = large_archive();
  archive::EntryFilter filter;
  filter.name = "BOW";
  filter.from = "2026-01-01";
  filter.smallest_below_mm = 20;
  std::size_t entries = 0;
  for (auto _ : state) entries = archive::Archive::open(root).list(filter).size();
  state.counters["entries"] = static_cast<double>(entries);
}
BENCHMARK(search_1000)->Unit(benchmark::kMillisecond);

// Time of one verify over time of one sha256sum, taken in turns in one run; smaller is faster.
void verify_against_sha256sum(benchmark::State& state) {
  const sample::Scratch scratch;
  archive::BagWriter writer(scratch / "bag");
  std::mt19937_64 random(1);
  for (int i = 0; i < 20; ++i) {
    std::string bytes(3u << 20, '\0');
    for (char& c : bytes) c = static_cast<char>(random());
    writer.add_bytes(bytes, "photos/photo_" + std::to_string(i) + ".jpg");
  }
  writer.close({});
  const std::string command =
      "cd '" + (scratch / "bag").string() + "' && sha256sum --status -c manifest-sha256.txt";
  using Clock = std::chrono::steady_clock;
  double ours_s = 0, theirs_s = 0;
  for (auto _ : state) {
    const auto start = Clock::now();
    if (!archive::verify_bag(scratch / "bag", static_cast<int>(state.range(0))).empty())
      state.SkipWithError("not whole");
    const auto middle = Clock::now();
    if (std::system(command.c_str()) != 0) state.SkipWithError("sha256sum disagrees");
    theirs_s += std::chrono::duration<double>(Clock::now() - middle).count();
    ours_s += std::chrono::duration<double>(middle - start).count();
  }
  const auto runs = static_cast<double>(state.iterations());
  state.counters["verify_s"] = ours_s / runs;
  state.counters["sha256sum_s"] = theirs_s / runs;
  state.counters["ratio"] = ours_s / theirs_s;
}
BENCHMARK(verify_against_sha256sum)->ArgName("threads")->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace interstice
