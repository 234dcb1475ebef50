// sweep: renders, inspects and draws the curves of error and stated uncertainty.
//   sweep --interstice build/src/app/interstice --work /tmp/sweep --out tests/sweep
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>

#include "core/files.h"
#include "sweep/curves.h"

namespace {

using namespace interstice;

constexpr const char* kPreamble =
    "# Error and stated uncertainty, swept\n\n"
    "Rendered scans of six pieces on a small form (the renderer's `patch` scene), inspected by the program "
    "with a\n"
    "lens calibrated from rendered photos of a card. One option changes at a time. Made by the `sweep` "
    "program of\n"
    "this folder; seams and errors as the scans' truth has them.\n\n"
    "![curves](curves.svg)\n";

bool wanted(const std::vector<std::string>& only, const std::string& name) {
  return only.empty() || std::find(only.begin(), only.end(), name) != only.end();
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"Sweeps scene options through the real program"};
  sweep::Programs programs;
  std::string out;
  std::vector<std::string> only;
  int seeds = 2;
  app.add_option("--interstice", programs.interstice, "The program")->required()->check(CLI::ExistingFile);
  app.add_option("--work", programs.work, "Folder for scans and results; kept, so that a sweep can go on")
      ->required();
  app.add_option("--out", out, "Folder for curves.md and curves.svg")->required();
  app.add_option("--only", only, "Only these series");
  app.add_option("--seeds", seeds, "Scenes a point")->check(CLI::Range(1, 100));
  CLI11_PARSE(app, argc, argv);
  try {
    const std::filesystem::path lens = sweep::calibrated_lens(programs);
    std::vector<sweep::Curve> curves;
    for (const sweep::Series& series : sweep::all_series()) {
      if (!wanted(only, series.name)) continue;
      sweep::Curve curve{series, {}};
      for (const sweep::Point& point : series.points) {
        std::vector<sweep::RunResult> runs;
        for (int seed = 1; seed <= seeds; ++seed) {
          const std::string name = series.name + "_" + point.label + "_" + std::to_string(seed);
          runs.push_back(sweep::run(programs, name, sweep::scene_of(point, seed), lens));
        }
        curve.points.push_back(sweep::summary(runs));
        const sweep::Summary& s = curve.points.back();
        std::fprintf(stderr, "%s %s: %d of %d seams, RMS %.3f mm, u95 %.3f mm, within %.2f, failed runs %d\n",
                     series.name.c_str(), point.label.c_str(), s.measured, s.seams, s.rms_mm, s.u95_median_mm,
                     s.coverage, s.failed_runs);
      }
      curves.push_back(curve);
    }
    const std::filesystem::path folder(out);
    write_file_atomically(folder / "curves.md", sweep::markdown(curves, kPreamble));
    write_file_atomically(folder / "curves.svg", sweep::svg(curves));
  } catch (const std::exception& e) {
    std::fprintf(stderr, "sweep: %s\n", e.what());
    return 2;
  }
  return 0;
}
