// sweep_pours: renders shells before and after a pour, runs the program on both and tells how well hollows are found.
//   sweep_pours --interstice build/src/app/interstice --work /tmp/pours --out .docs
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>

#include "core/files.h"
#include "sweep/page.h"
#include "sweep/pours.h"

namespace {

using namespace interstice;

constexpr const char* kPreamble = "# Hollows after a pour, swept (rendered scenes only)\n\n";

void tell(const std::string& label, const sweep::PourScore& s) {
  const sweep::PourFigures f = sweep::figures({s});
  std::fprintf(stderr,
               "%s: found %zu of %d, false %zu of %d, opening %.2f (%.2f), volume %.2f, range %.1f, off %.2f "
               "mm, filled "
               "%d of %d, bubbles %d of %d%s\n",
               label.c_str(), s.found.size(), s.hollows, s.false_ones.size(), s.reported,
               f.opening_within_quarter, f.opening_median, f.volume_inside, f.range_median, f.off_median_mm,
               s.filled_called_filled, s.filled, s.pits_found, s.pits, s.exit_code > 1 ? ", refused" : "");
  for (const auto& [words, list] : {std::pair{"missed", s.missed}, std::pair{"false", s.false_ones},
                                    std::pair{"hollow called filled", s.hollow_called_filled}}) {
    if (list.empty()) continue;
    std::fprintf(stderr, "  %s:", words);
    for (const std::string& seam : list) std::fprintf(stderr, " %s", seam.c_str());
    std::fprintf(stderr, "\n");
  }
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"Sweeps poured scenes through the real program"};
  sweep::Programs programs;
  std::string out;
  std::vector<std::string> only;
  int seeds = 2, first = 1;
  app.add_option("--interstice", programs.interstice, "The program")->required()->check(CLI::ExistingFile);
  app.add_option("--work", programs.work, "Folder for scans and results; kept, so that a sweep can go on")
      ->required();
  app.add_option("--out", out, "Folder for refill-accuracy.md")->required();
  app.add_option("--only", only, "Only scenes whose names begin so");
  app.add_option("--seeds", seeds, "Shells a scene")->check(CLI::Range(1, 100));
  app.add_option("--first", first, "The first of them")->check(CLI::Range(1, 1000));
  app.add_option("--threads", programs.threads, "Of the renderer and the program")->check(CLI::Range(1, 64));
  app.add_flag("--again", programs.again, "Look again into what has been poured, for a changed program");
  CLI11_PARSE(app, argc, argv);
  try {
    const std::vector<sweep::PourPoint> points = sweep::pour_points();
    const auto lens = sweep::calibrated_lens(programs, sweep::dry_scene(points[0], 1).camera);
    std::vector<sweep::PourRow> rows;
    std::vector<sweep::PourScore> all;
    for (const sweep::PourPoint& point : points) {
      if (!only.empty() && std::none_of(only.begin(), only.end(), [&](const std::string& name) {
            return point.label.rfind(name, 0) == 0;
          }))
        continue;
      std::vector<sweep::PourScore> runs;
      for (int seed = first; seed < first + seeds; ++seed) {
        runs.push_back(sweep::run_pour(programs, point, seed, lens));
        tell(point.label + ", shell " + std::to_string(seed), runs.back());
      }
      rows.push_back({point.label, sweep::figures(runs)});
      all.insert(all.end(), runs.begin(), runs.end());
    }
    const std::filesystem::path file = std::filesystem::path(out) / "refill-accuracy.md";
    core::write_file_atomically(file, sweep::above_tables(file, kPreamble) + "\n" + sweep::pour_table(rows) +
                                          "\n" + sweep::pour_table({{"all", sweep::figures(all)}}));
  } catch (const std::exception& e) {
    std::fprintf(stderr, "sweep_pours: %s\n", e.what());
    return 2;
  }
  return 0;
}
