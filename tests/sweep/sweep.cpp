// sweep: renders, inspects and draws the curves of error and stated uncertainty.
//   sweep --interstice build/src/app/interstice --work /tmp/sweep --out .docs
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <map>

#include "core/files.h"
#include "sweep/curves.h"
#include "sweep/page.h"

namespace {

using namespace interstice;

constexpr const char* kPreamble = "# Error and stated uncertainty, swept\n\n![Curves](accuracy.svg)\n\n";
bool wanted(const std::vector<std::string>& only, const std::string& name) {
  return only.empty() || std::find(only.begin(), only.end(), name) != only.end();
}

// One series: every point on `seeds` scenes.
sweep::Curve swept(const sweep::Programs& programs, const sweep::Series& series, int seeds,
                   const std::filesystem::path& lens, std::map<std::string, sweep::RunResult>& runs_by_name) {
  sweep::Curve curve{series, {}};
  for (const sweep::Point& point : series.points) {
    std::vector<sweep::RunResult> runs;
    for (int seed = 1; seed <= seeds; ++seed) {
      const std::string place = point.settings.empty() ? "base" : series.name + "_" + point.label;
      const std::string name = place + "_" + std::to_string(seed);
      if (!runs_by_name.count(name)) {
        runs_by_name[name] = sweep::run(programs, name, sweep::scene_of(point, seed), lens);
      }
      runs.push_back(runs_by_name.at(name));
    }
    curve.points.push_back(sweep::summary(runs));
    const sweep::Summary& s = curve.points.back();
    std::fprintf(stderr,
                 "%s %s: %d of %d seams, bias %+.3f mm, RMS %.3f mm, u95 %.3f mm, within %.2f, tight called "
                 "clear %d, failed runs %d\n",
                 series.name.c_str(), point.label.c_str(), s.measured, s.seams, s.bias_mm, s.rms_mm,
                 s.u95_median_mm, s.coverage, s.tight_called_clear, s.failed_runs);
  }
  return curve;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"Sweeps scene options through the real program"};
  sweep::Programs programs;
  std::string out;
  std::vector<std::string> only;
  int seeds = 1;
  app.add_option("--interstice", programs.interstice, "The program")->required()->check(CLI::ExistingFile);
  app.add_option("--work", programs.work, "Folder for scans and results; kept, so that a sweep can go on")
      ->required();
  app.add_option("--out", out, "Folder for accuracy.md and accuracy.svg")->required();
  app.add_option("--only", only, "Only these series");
  app.add_option("--seeds", seeds, "Scenes a point")->check(CLI::Range(1, 100));
  app.add_flag("--again", programs.again, "Measure again what has been measured, for a changed program");
  CLI11_PARSE(app, argc, argv);
  try {
    const std::filesystem::path lens = sweep::calibrated_lens(programs, sweep::base_scene().camera);
    std::vector<sweep::Curve> curves;
    std::map<std::string, sweep::RunResult> runs_by_name;
    for (const sweep::Series& series : sweep::all_series()) {
      if (!wanted(only, series.name)) continue;
      curves.push_back(swept(programs, series, seeds, lens, runs_by_name));
    }
    std::vector<sweep::RunResult> gaps;
    for (const auto& [name, run] : runs_by_name) {
      for (const char* series : {"gap_", "scene_", "base_"}) {
        if (name.rfind(series, 0) == 0) gaps.push_back(run);
      }
    }
    curves.insert(curves.begin(), {sweep::by_true_width(gaps), sweep::by_ring(gaps)});
    const std::filesystem::path folder(out);
    core::write_file_atomically(
        folder / "accuracy.md",
        sweep::markdown(curves, sweep::above_tables(folder / "accuracy.md", kPreamble)));
    core::write_file_atomically(folder / "accuracy.svg", sweep::svg(curves));
  } catch (const std::exception& e) {
    std::fprintf(stderr, "sweep: %s\n", e.what());
    return 2;
  }
  return 0;
}
