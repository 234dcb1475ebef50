// A scene as numbers: form, plan, built pieces, cards, cameras and the true seams. No picture yet.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "renderer/build.h"
#include "renderer/cameras.h"
#include "renderer/poured.h"
#include "renderer/truth.h"

namespace interstice::renderer {

struct Scene {
  SceneOptions options;
  Form form;
  Layout layout;
  std::vector<BuiltPiece> pieces;
  std::vector<TrueSeam> seams;
  std::optional<Poured> poured;
  std::vector<CardPlace> cards;
  std::vector<Shot> shots;

  int rings_placed() const;
};

// Throws InputError for options out of range or pieces that cannot be laid out.
Scene make_scene(const SceneOptions& options);

// The same with given pieces in place of the built ones (all else from the options): for analytic checks.
Scene make_scene(const SceneOptions& options, std::vector<BuiltPiece> pieces);

}  // namespace interstice::renderer
