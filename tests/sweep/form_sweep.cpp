// form_sweep: renders bare forms of all kinds, measures them, and tells how true the stated uncertainty is.
//   form_sweep --work /tmp/forms --forms 24
// What is measured stays in the folder and is not measured again.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "core/errors.h"
#include "core/files.h"
#include "sweep/forms.h"

namespace {

using namespace interstice;

void print(const char* name, const sweep::FormCoverage& c) {
  std::printf("| %s | %zu | %zu | %.3f | %.2f | %.2f | %.2f |\n", name, c.forms, c.points, c.rms_mm,
              c.within_u95, c.squares, c.forms_all_in);
}

sweep::MeasuredForm kept_or_measured(const std::filesystem::path& work, int seed, int threads) {
  const renderer::SceneOptions scene = sweep::bare_form_scene(seed);
  const std::filesystem::path file = work / (scene.name + ".txt");
  if (!std::filesystem::exists(file))
    core::write_file_atomically(file, sweep::form_text(sweep::measure_rendered_form(work, scene, threads)));
  return sweep::form_of_text(core::read_file(file));
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"How true the stated uncertainty of a bare form's meridian is"};
  std::filesystem::path work;
  int first = 1, count = 24, threads = 2;
  app.add_option("--work", work, "Folder for what is measured")->required();
  app.add_option("--first", first, "Seed of the first form");
  app.add_option("--forms", count, "How many");
  app.add_option("--threads", threads, "Threads");
  CLI11_PARSE(app, argc, argv);
  std::filesystem::create_directories(work);
  std::vector<sweep::MeasuredForm> forms;
  for (int seed = first; seed < first + count; ++seed) {
    try {
      forms.push_back(kept_or_measured(work, seed, threads));
    } catch (const core::MeasureError& e) {
      std::fprintf(stderr, "form %d: refused: %s\n", seed, e.what());
      continue;
    } catch (const core::InputError& e) {  // a shape that no layout fits
      std::fprintf(stderr, "form %d: not rendered: %s\n", seed, e.what());
      continue;
    }
    const sweep::FormCoverage one = sweep::coverage_of_photos({forms.back()});
    std::fprintf(stderr, "%s: %.2f mm a pixel, %zu points, RMS %.3f mm, within %.2f, (e/u)^2 %.2f\n",
                 forms.back().name.c_str(), forms.back().footprint_mm, one.points, one.rms_mm, one.within_u95,
                 one.squares);
  }
  if (forms.empty()) return 1;
  std::printf(
      "| errors | forms | points | RMS mm | within u95 | (e/u)^2 | forms all inside |\n"
      "|---|---|---|---|---|---|---|\n");
  print("check line and paper known", sweep::coverage_of_photos(forms));
  print("check line and paper drawn", sweep::coverage_of_all(forms, 200));
  return 0;
}
