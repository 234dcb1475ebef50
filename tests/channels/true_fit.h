// A fit document as a perfect measurement would give it, from a scan's truth; and the same with errors of a
// known size. For tests only.
#pragma once

#include <random>

#include "rework/truth_pieces.h"
#include "seams/fit_document.h"

namespace interstice::testing {

// sd_mm: standard deviation of an error common to each seam's widths, as a measurement has.
inline seams::FitDocument true_fit(const TrueShell& shell, double sd_mm = 0, unsigned seed = 1) {
  seams::FitDocument fit;
  fit.name = shell.plan.name;
  fit.smallest_fill_mm = shell.plan.smallest_fill_mm;
  fit.form_profile = shell.plan.profile.points();
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    seams::FitTile tile;
    tile.label = shell.plan.tiles[geometry::TileIndex(i)].label;
    tile.ring = shell.plan.tiles[geometry::TileIndex(i)].ring;
    if (const auto& piece = shell.pieces[geometry::TileIndex(i)]) {
      tile.state = plan::TileState::placed;
      tile.face = piece->face;
      tile.arris = piece->arris;
      tile.arris_sd_mm.assign(piece->arris.size(), 0.05);
      tile.root = piece->root;
    } else {
      tile.state = plan::TileState::absent;
    }
    fit.tiles.push_back(tile);
  }
  std::mt19937 random(seed);
  std::normal_distribution<double> error(0.0, 1.0);
  const auto bodies = shell.bodies();
  for (const solid::ShellSeam& found : solid::mouths_of_shell(bodies, {}, 0)) {
    const auto summary = solid::summarise_mouth(found.samples, fit.smallest_fill_mm);
    if (!summary || summary->length_mm < 5) continue;
    const double shift = sd_mm * error(random);
    seams::FitSeam seam;
    seam.tiles = {fit.tiles[found.a.value].label, fit.tiles[found.b.value].label};
    seam.narrowest_mm = summary->narrowest_mm + shift;
    seam.u95_mm = 2 * sd_mm;
    seam.verdict =
        *seam.narrowest_mm < fit.smallest_fill_mm ? seams::Verdict::too_tight : seams::Verdict::clear;
    seam.at = summary->at;
    seam.map = shell.plan.profile.locate(seam.at).uv;
    seam.length_mm = summary->length_mm;
    seam.tight_length_mm = summary->tight_length_mm;
    for (const solid::MouthSample& m : found.samples) {
      seam.samples.push_back({m.s_mm, m.width_mm + shift, sd_mm, m.on_a, m.on_b});
    }
    fit.seams.push_back(seam);
  }
  return fit;
}

}  // namespace interstice::testing
