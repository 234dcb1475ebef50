// Resin poured between the pieces: its upper surface as heights over the form, and what stayed hollow.
//
// A seam fills with a probability that rises with its mouth, logistic about `limit_mm`; one that does not keeps an
// opening about its narrowest place, from wood to wood, down to a level floor. Where pieces stand farther apart than
// resin bridges, it has run off down to the form: hollows too where pieces stand all round. Pits are half-ellipsoids
// where bubbles burst. Truth is summed over the same cells that are drawn. mm, bowl frame; map as in form.h.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "renderer/build.h"
#include "renderer/truth.h"

namespace interstice::renderer {

struct TrueVoid {
  std::vector<std::string> tiles;  // two; one for a burst bubble
  Eigen::Vector2d map = Eigen::Vector2d::Zero();
  double mouth_mm = 0;  // of the seam; 0 for a bubble
  double opening_mm2 = 0, depth_mm = 0, volume_ml = 0, length_mm = 0;
  bool bubble = false;
};

struct ResinCell {
  int first = -1, second = -1;             // the nearest pieces
  double first_mm = 1e9, second_mm = 1e9;  // how far outside their widest outlines (negative: inside)
  double flush_mm = 0;                     // over the form: level with the faces beside it
  double top_mm = 0;                       // of the resin
  bool there = false, hollow = false;
};

struct Poured {
  double step_mm = 0.3;
  int side = 0;  // cells each way; the middle one lies on the pole
  std::vector<ResinCell> cells;
  std::vector<TrueVoid> voids;
  std::vector<char> filled;  // by seam

  Eigen::Vector2d map_at(int row, int column) const {
    return {(column - side / 2) * step_mm, (row - side / 2) * step_mm};
  }
  const ResinCell& cell(int row, int column) const {
    return cells[static_cast<std::size_t>(row) * static_cast<std::size_t>(side) +
                 static_cast<std::size_t>(column)];
  }
  ResinCell& cell(int row, int column) {
    return const_cast<ResinCell&>(static_cast<const Poured&>(*this).cell(row, column));
  }
};

Poured pour_resin(const Form& form, const SceneOptions& options, const std::vector<BuiltPiece>& pieces,
                  const std::vector<TrueSeam>& seams);

}  // namespace interstice::renderer
