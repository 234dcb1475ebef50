// How long seam geometry and the corrections take, on generated shells of 60 and 400 pieces (about 1 seam in
// 6 to be raised) and on the plover scan.
#include <benchmark/benchmark.h>

#include "rework/generated_shell.h"

namespace interstice {
namespace {

void mouths(benchmark::State& state) {
  const auto shell = testing::generated_shell(static_cast<std::size_t>(state.range(0)), 0.2, 1);
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  for (const seams::FitTile& t : shell.fit.tiles)
    bodies.push_back(solid::SolidBody({t.face, t.arris, t.root}));
  for (auto _ : state) benchmark::DoNotOptimize(solid::mouths_of_shell(bodies));
}
BENCHMARK(mouths)->Arg(60)->Arg(400)->Unit(benchmark::kMillisecond);

void corrections(benchmark::State& state) {
  const auto shell = testing::generated_shell(static_cast<std::size_t>(state.range(0)), 0.2, 1);
  rework::CorrectionOptions options;
  options.threads = 2;
  rework::CorrectionResult result;
  for (auto _ : state) result = rework::propose_corrections(shell.fit, shell.plan, options);
  state.counters["touched"] = static_cast<double>(result.pieces_touched);
  state.counters["refused"] = static_cast<double>(result.refused.size());
}
BENCHMARK(corrections)->Arg(60)->Arg(400)->Unit(benchmark::kMillisecond)->UseRealTime();

void corrections_of_plover(benchmark::State& state) {
  const auto folder = testing::scan_folder("plover");
  if (!folder) {
    state.SkipWithError("scan plover is in neither datasets/ nor ../shared/scans");
    return;
  }
  const auto shell = testing::read_true_shell(*folder);
  const seams::FitDocument fit = testing::measured_document(shell, 0.22, 1);
  rework::CorrectionOptions options;
  options.threads = 2;
  for (auto _ : state) benchmark::DoNotOptimize(rework::propose_corrections(fit, shell.plan, options));
}
BENCHMARK(corrections_of_plover)->Unit(benchmark::kMillisecond)->UseRealTime();

}  // namespace
}  // namespace interstice
