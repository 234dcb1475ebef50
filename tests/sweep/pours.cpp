#include "sweep/pours.h"

#include "core/files.h"
#include "renderer/settings.h"
#include "sweep/series.h"

namespace interstice::sweep {

namespace fs = std::filesystem;

namespace {

// Over the base scene of the dry sweep: seams about as wide as what fills, so that some of every width stay hollow;
// thick pieces, so that hollows are as deep as they get; more pixels, as a refill asks for.
const std::vector<std::string>& shell_settings() {
  static const std::vector<std::string> all = {"layout.planned_gap_mm=3.2", "layout.thickness_mm=11",
                                               "camera.width_px=1600",      "camera.height_px=1200",
                                               "camera.footprint_mm=0.24",  "camera.photos=14"};
  return all;
}

// Over the same base: all rings of a form of 208 mm, some sixty pieces, in photos of six megapixels.
const std::vector<std::string>& whole_settings() {
  static const std::vector<std::string> all = {"form.rim_radius_mm=104", "form.height_mm=98",
                                               "layout.pieces=0",        "layout.piece_size_mm=40",
                                               "layout.thickness_mm=13", "camera.width_px=2848",
                                               "camera.height_px=2136",  "layout.planned_gap_mm=3.5",
                                               "camera.photos=24",       "camera.footprint_mm=0.22"};
  return all;
}

const std::vector<std::string>& pour_settings() {
  static const std::vector<std::string> all = {
      "resin.limit_mm=2.9",    "resin.spread_mm=0.3", "resin.least_depth_mm=1.5",
      "resin.most_depth_mm=8", "resin.pits=6",        "camera.session=1"};
  return all;
}

std::string joined_words(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& w : words) out += "_" + w;
  for (char& c : out) c = c == '=' || c == ',' || c == ' ' ? '-' : c;
  return out;
}

}  // namespace

std::vector<PourPoint> pour_points() {
  std::vector<PourPoint> out;
  const std::string hard = "look.side_light=2";
  for (const char* colour : {"black", "blue", "amber", "metallic", "white"}) {
    const std::string resin = std::string("resin.colour=") + colour;
    out.push_back({std::string(colour) + ", soft light", {}, {resin}});
    out.push_back({std::string(colour) + ", hard light", {}, {resin, hard}});
  }
  for (const char* colour : {"black", "amber"}) {
    const std::string resin = std::string("resin.colour=") + colour;
    out.push_back({std::string(colour) + ", sunk 0.8 mm", {}, {resin, hard, "resin.level_mm=-0.8"}});
    out.push_back({std::string(colour) + ", proud 0.4 mm", {}, {resin, hard, "resin.level_mm=0.4"}});
  }
  const std::string black = "resin.colour=black";
  out.push_back({"black, dark woods", {"look.woods=walnut,padauk,cherry"}, {black, hard}});
  out.push_back({"black, pale wood", {"look.woods=maple"}, {black, hard}});
  out.push_back({"blue, near-black wood", {"look.woods=blackwood,walnut"}, {"resin.colour=blue", hard}});
  const std::vector<std::string> mixed{"look.woods=maple,cherry,walnut,padauk,blackwood", hard};
  out.push_back({"whole shell, black, mixed woods", mixed, {black, hard}, PouredShell::whole});
  const std::vector<std::string> dark{"look.woods=walnut,padauk,blackwood", hard};
  out.push_back({"whole shell, black, dark woods", dark, {black, hard}, PouredShell::whole});
  return out;
}

renderer::SceneOptions dry_scene(const PourPoint& point, int seed) {
  renderer::SceneOptions o = base_scene();
  o.seed = static_cast<std::uint64_t>(seed);
  for (const std::string& s : shell_settings()) renderer::set_option(o, s);
  if (point.shell == PouredShell::whole)
    for (const std::string& s : whole_settings()) renderer::set_option(o, s);
  for (const std::string& s : point.wood) renderer::set_option(o, s);
  return o;
}

renderer::SceneOptions poured_scene(const PourPoint& point, int seed) {
  renderer::SceneOptions o = dry_scene(point, seed);
  for (const std::string& s : pour_settings()) renderer::set_option(o, s);
  for (const std::string& s : point.settings) renderer::set_option(o, s);
  return o;
}

PourScore run_pour(const Programs& programs, const PourPoint& point, int seed, const fs::path& lens) {
  const std::string number = (point.shell == PouredShell::whole ? "whole_" : "") + std::to_string(seed);
  const std::string dry = "dry" + joined_words(point.wood) + "_" + number;
  run(programs.measured_once(), dry, dry_scene(point, seed), lens);
  const std::string name = "poured" + joined_words(point.wood) + joined_words(point.settings) + "_" + number;
  const renderer::SceneOptions scene = poured_scene(point, seed);
  render(programs, name, scene);
  const fs::path folder = programs.work / name, out = folder / "out", code_file = folder / "exit_code";
  if (programs.again || !fs::exists(code_file)) {
    fs::remove_all(out);
    const int code = call({programs.interstice.string(), "refill", (folder / "photos").string(), "--after",
                           (programs.work / dry / "out").string(), "--lens", lens.string(), "--check-line",
                           check_line(scene), "--threads", std::to_string(programs.threads), "--quiet",
                           "--out", out.string()});
    for (const char* big : {"scan", "report.html", "marked"}) fs::remove_all(out / big);
    core::write_file_atomically(code_file, std::to_string(code) + "\n");
  }
  const int code = std::stoi(core::read_file(code_file));
  PourScore score =
      scored(code <= 1 ? core::read_file(out / "refill.json") : R"({"seams": [], "hollows": []})",
             core::read_file(folder / "truth.json"));
  score.exit_code = code;
  return score;
}

}  // namespace interstice::sweep
