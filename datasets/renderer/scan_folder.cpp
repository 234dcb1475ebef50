#include "renderer/scan_folder.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "core/errors.h"
#include "core/files.h"
#include "renderer/develop.h"
#include "renderer/picture.h"
#include "renderer/random.h"

namespace interstice::renderer {

std::string scan_json(const Scene& scene) {
  const SceneOptions& o = scene.options;
  nlohmann::ordered_json out;
  out["name"] = o.name;
  out["check_line_nominal_mm"] = 150;
  out["check_line_measured_mm"] = std::round(150 * o.cards.print_scale * 100) / 100;
  out["cards"] = o.cards.cards;
  out["rings_placed"] = scene.rings_placed();
  out["camera"] = o.camera.name;
  return out.dump(1) + "\n";
}

void write_scan_folder(const Scene& scene, const std::filesystem::path& folder,
                       const std::function<void(int, int)>& done) {
  std::error_code error;
  std::filesystem::create_directories(folder / "photos", error);
  if (error) throw core::InputError(folder.string(), "cannot be made: " + error.message());
  const SceneOptions& o = scene.options;
  if (o.layout.rings_placed >= 0) {
    core::write_file_atomically(folder / "plan.json", plan_json(o.name, scene.form, o.layout, scene.layout));
  }
  core::write_file_atomically(folder / "scan.json", scan_json(scene));
  TruthInput truth{o.name,
                   o.layout.smallest_fill_mm,
                   scene.rings_placed(),
                   o.cards.print_scale,
                   &scene.cards,
                   &scene.pieces,
                   &scene.seams,
                   &scene.shots,
                   scene.poured ? &*scene.poured : nullptr};
  core::write_file_atomically(folder / "truth.json", truth_json(truth));
  const LitScene lit(scene);
  Scene later_scene = scene;  // after a card was moved
  later_scene.cards = place_cards(o, std::max(0, o.cards.moved_after));
  std::unique_ptr<LitScene> later;
  if (o.cards.moved != 0) later = std::make_unique<LitScene>(later_scene);
  const int count = static_cast<int>(scene.shots.size());
  for (int i = 0; i < count; ++i) {
    const Shot& shot = scene.shots[static_cast<std::size_t>(i)];
    const LitScene& now = later && i >= o.cards.moved_after ? *later : lit;
    const cv::Mat picture = developed(
        smeared(now.picture(shot), shot.smear_px), o.camera,
        key(o.seed, 73, static_cast<std::uint64_t>(i), static_cast<std::uint64_t>(o.camera.session)));
    core::write_file_atomically(folder / "photos" / (shot.name + ".jpg"),
                                photo_file(picture, shot, o.camera, i));
    if (done) done(i + 1, count);
  }
}

}  // namespace interstice::renderer
