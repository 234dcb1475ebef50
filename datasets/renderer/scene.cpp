#include "renderer/scene.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

Vector3d aim_point(const Scene& scene) {
  const SceneOptions& o = scene.options;
  if (o.layout.rings_placed < 0) return Vector3d::Zero();
  const Vector3d middle(0, 0, 0.4 * o.form.height_mm);
  if (o.layout.pieces == 0) return middle;
  Vector3d sum = Vector3d::Zero();
  for (const BuiltPiece& p : scene.pieces) sum += p.frame.origin;
  return 0.5 * (middle + sum / static_cast<double>(scene.pieces.size()));
}

Scene drawn(const SceneOptions& options) {
  check_options(options);
  Scene scene{options, Form(options.form), {}, {}, {}, {}, {}, {}};
  if (options.layout.rings_placed >= 0) scene.layout = make_layout(scene.form, options.layout, options.seed);
  return scene;
}

void finish(Scene& scene) {
  const SceneOptions& o = scene.options;
  scene.seams = true_seams(scene.form, scene.pieces, o.layout.smallest_fill_mm, o.sampling.threads);
  if (!o.resin.colour.empty()) scene.poured = pour_resin(scene.form, o, scene.pieces, scene.seams);
  scene.cards = place_cards(o);
  scene.shots = place_shots(o, aim_point(scene));
}

}  // namespace

int Scene::rings_placed() const {
  int ring = 0;
  for (const BuiltPiece& p : pieces) ring = p.placed ? std::max(ring, p.ring) : ring;
  return ring;
}

Scene make_scene(const SceneOptions& options) {
  Scene scene = drawn(options);
  scene.pieces = build_pieces(scene.form, options, scene.layout);
  finish(scene);
  return scene;
}

Scene make_scene(const SceneOptions& options, std::vector<BuiltPiece> pieces) {
  Scene scene = drawn(options);
  scene.pieces = std::move(pieces);
  finish(scene);
  return scene;
}

}  // namespace interstice::renderer
