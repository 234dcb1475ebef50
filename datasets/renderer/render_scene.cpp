// render_scene: writes a rendered scan with its truth, for tests and for trying things out.
#include <CLI/CLI.hpp>
#include <cstdio>

#include "core/errors.h"
#include "renderer/scan_folder.h"
#include "renderer/settings.h"

int main(int argc, char** argv) {
  CLI::App app{"Renders a scan of an invented shell, with its truth"};
  std::string scene_name = "bowl", out;
  std::vector<std::string> settings;
  bool quiet = false, list = false;
  app.add_option("--scene", scene_name, "bowl, cup, platter, ring, patch or lens");
  app.add_option("--set", settings, "Options as name=value, for example layout.planned_gap_mm=2.5");
  app.add_option("--out", out, "Folder to write");
  app.add_flag("--quiet", quiet, "Print nothing but errors");
  app.add_flag("--list", list, "List the options' names");
  CLI11_PARSE(app, argc, argv);
  using namespace interstice::renderer;
  try {
    if (list) {
      for (const std::string& name : option_names()) std::printf("%s\n", name.c_str());
      return 0;
    }
    if (out.empty()) throw interstice::core::InputError("give --out FOLDER");
    SceneOptions options = preset(scene_name);
    for (const std::string& setting : settings) set_option(options, setting);
    const Scene scene = make_scene(options);
    write_scan_folder(scene, out, [&](int done, int count) {
      if (!quiet) std::fprintf(stderr, "\rphoto %d of %d", done, count);
    });
    if (!quiet) std::fprintf(stderr, "\n%zu pieces, %zu seams\n", scene.pieces.size(), scene.seams.size());
  } catch (const std::exception& e) {
    std::fprintf(stderr, "render_scene: %s\n", e.what());
    return 2;
  }
  return 0;
}
