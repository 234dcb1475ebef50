// Fit documents for tests: the pieces of a shell as a measurement with a stated uncertainty would give them.
#pragma once

#include <optional>

#include <cmath>
#include <map>
#include <numbers>
#include <random>

#include "rework/corrections.h"
#include "rework/truth_pieces.h"
#include "solid/throat.h"

namespace interstice::testing {

// Noise of an outline across itself: smooth over about 10 mm, with the given standard deviation.
class OutlineNoise {
 public:
  OutlineNoise(double perimeter_mm, double sd_mm, std::mt19937& random) : perimeter_(perimeter_mm) {
    std::normal_distribution<double> normal;
    const int modes = std::max(1, static_cast<int>(perimeter_mm / 10));
    for (int k = 1; k <= modes; ++k) {
      a_.push_back(normal(random) * sd_mm / std::sqrt(modes));
      b_.push_back(normal(random) * sd_mm / std::sqrt(modes));
    }
  }
  double at(double arc_mm) const {
    double sum = 0;
    for (std::size_t k = 0; k < a_.size(); ++k) {
      const double phase = 2 * std::numbers::pi * static_cast<double>(k + 1) * arc_mm / perimeter_;
      sum += a_[k] * std::cos(phase) + b_[k] * std::sin(phase);
    }
    return sum;
  }

 private:
  double perimeter_;
  std::vector<double> a_, b_;
};

inline seams::FitTile measured_tile(const std::string& label, int ring, const solid::PieceSolid& piece,
                                    double sd_mm, std::mt19937& random) {
  seams::FitTile tile;
  tile.label = label;
  tile.ring = ring;
  tile.state = plan::TileState::placed;
  tile.face = piece.face;
  tile.arris = piece.arris;
  tile.root = piece.root;
  tile.arris_sd_mm.assign(piece.arris.size(), sd_mm);
  const solid::SolidBody body(piece);
  const OutlineNoise noise(body.perimeter_mm(), sd_mm, random);
  const std::vector<Eigen::Vector3d> inward = solid::inward_steps(piece.face, piece.arris);
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const Eigen::Vector3d shift = noise.at(body.arc_at(i, 0)) * inward[i];
    tile.arris[i] += shift;
    tile.root[i] += shift;
  }
  return tile;
}

// Seams and verdicts of the document's own outlines, all with the same u95.
inline void measure_seams(seams::FitDocument& fit, double u95_mm) {
  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies;
  for (const seams::FitTile& t : fit.tiles) {
    bodies.push_back(t.state == plan::TileState::placed ? solid::SolidBody({t.face, t.arris, t.root})
                                                        : solid::SolidBody());
  }
  for (const solid::ShellSeam& s : solid::mouths_of_shell(bodies)) {
    const auto summary = solid::summarise_mouth(s.samples, fit.smallest_fill_mm);
    seams::FitSeam seam;
    seam.tiles = {fit.tiles[s.a.value].label, fit.tiles[s.b.value].label};
    seam.narrowest_mm = summary->narrowest_mm;
    seam.u95_mm = u95_mm;
    seam.verdict =
        core::judge(core::width_of(summary->narrowest_mm, u95_mm), std::nullopt, fit.smallest_fill_mm)
            .verdict;
    seam.at = summary->at;
    seam.length_mm = summary->length_mm;
    seam.tight_length_mm = summary->tight_length_mm;
    for (const solid::MouthSample& m : s.samples)
      seam.samples.push_back({m.s_mm, m.width_mm, u95_mm / 2, m.on_a, m.on_b});
    fit.seams.push_back(seam);
  }
}

// And the throats of the document's own walls, all with the same u95.
inline void measure_throats(seams::FitDocument& fit, double u95_mm) {
  std::map<std::string, solid::SolidBody> bodies;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.state == plan::TileState::placed)
      bodies.emplace(t.label, solid::PieceSolid{t.face, t.arris, t.root});
  }
  for (seams::FitSeam& seam : fit.seams) {
    const auto throat = solid::throat_of(bodies.at(seam.tiles[0]), bodies.at(seam.tiles[1]));
    if (!throat) continue;
    seam.throat_mm = std::max(0.0, throat->width_mm);
    seam.throat_u95_mm = u95_mm;
    seams::judge_again(seam, fit.smallest_fill_mm);
  }
}

// A measurement of a true shell: independent errors of the two edges of a seam that make u95 = 2 u of its
// width.
inline seams::FitDocument measured_document(const TrueShell& shell, double u95_mm, unsigned seed) {
  std::mt19937 random(seed);
  seams::FitDocument fit;
  fit.name = shell.plan.name;
  fit.smallest_fill_mm = shell.plan.smallest_fill_mm;
  fit.form_profile = shell.plan.profile.points();
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    const auto& piece = shell.pieces[geometry::TileIndex(i)];
    const int ring = shell.plan.tiles[geometry::TileIndex(i)].ring;
    if (piece) {
      fit.tiles.push_back(
          measured_tile(shell.labels[i], ring, *piece, u95_mm / 2 / std::numbers::sqrt2, random));
    } else {
      seams::FitTile absent;
      absent.label = shell.labels[i];
      absent.ring = ring;
      absent.state = plan::TileState::absent;
      fit.tiles.push_back(absent);
    }
  }
  measure_seams(fit, u95_mm);
  return fit;
}

}  // namespace interstice::testing
