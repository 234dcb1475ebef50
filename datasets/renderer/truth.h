// What a perfect measurement of the scene would say; the keys and meanings of truth.json.
//
// Mouth: the shortest 3-D distance between the widest outline (arris) of one piece and the body of the other.
// Clearance (throat): the shortest distance between the two bodies. Root: between their lowest outlines.
// Wood alone: squeezed-out glue does not count.
// Length: the mean over both sides of the arris length whose nearest other piece is the partner, within 8 mm;
// the tight length likewise within the smallest fill.
#pragma once

#include <string>

#include "renderer/build.h"
#include "renderer/cameras.h"

namespace interstice::renderer {

struct TrueSeam {
  std::string first, second;
  double mouth_mm = 0, clearance_mm = 0, root_mm = 0;
  Eigen::Vector3d at, clearance_at;
  Eigen::Vector2d map;
  double length_mm = 0, tight_length_mm = 0;
};

// All pairs of placed pieces with a mouth up to 14 mm, narrowest first.
std::vector<TrueSeam> true_seams(const Form& form, const std::vector<BuiltPiece>& pieces,
                                 double smallest_fill_mm, int threads);

struct Poured;

struct TruthInput {
  std::string name;
  double smallest_fill_mm = 3;
  int rings_placed = 0;
  double card_scale = 1;
  const std::vector<CardPlace>* cards = nullptr;
  const std::vector<BuiltPiece>* pieces = nullptr;
  const std::vector<TrueSeam>* seams = nullptr;
  const std::vector<Shot>* shots = nullptr;
  const Poured* poured = nullptr;
};

std::string truth_json(const TruthInput& input);

}  // namespace interstice::renderer
