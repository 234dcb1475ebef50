#include "rework/correction_linear.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace interstice::rework {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector3d;

constexpr double kRowStep = 3.0;  // mm of seam to one row

// A piece at a place, with the velocities of its points against the three moves.
struct PlacedPiece {
  solid::SolidBody body;
  Isometry3d now;
  std::array<Isometry3d, 3> ahead;
  std::array<double, 3> step;

  PlacedPiece(const CorrectionShell& shell, std::size_t index, const Move& at) {
    const ShellPiece& piece = shell.pieces[index];
    const auto motion = [&](const Move& m) {
      return motion_of(m, shell.form, piece.centroid, piece.solid.face.normal);
    };
    now = motion(at);
    step = {0.01, 0.01, 0.01};
    ahead = {motion({at.along_mm + step[0], at.towards_pole_mm, at.turn_deg}),
             motion({at.along_mm, at.towards_pole_mm + step[1], at.turn_deg}),
             motion({at.along_mm, at.towards_pole_mm, at.turn_deg + step[2]})};
    body = solid::SolidBody(at.is_zero() ? piece.solid : moved_piece(piece.solid, now));
  }
  Vector3d velocity(const Vector3d& p, std::size_t which) const {
    return (ahead[which] * (now.inverse() * p) - p) / step[which];
  }
};

}  // namespace

LinearPair linearise(const CorrectionShell& shell, const ShellPair& pair, const std::array<Move, 2>& at) {
  LinearPair out;
  out.at = at;
  const std::array<std::size_t, 2> index{pair.a, pair.b};
  const std::array<PlacedPiece, 2> placed{PlacedPiece(shell, pair.a, at[0]),
                                          PlacedPiece(shell, pair.b, at[1])};
  std::map<long, solid::MouthSample> narrowest;
  for (const solid::MouthSample& m :
       solid::mouth_along(placed[0].body, placed[1].body, {.limit_mm = shell.reach_mm})) {
    const auto [place, is_new] = narrowest.try_emplace(std::lround(std::floor(m.s_mm / kRowStep)), m);
    if (!is_new && m.width_mm < place->second.width_mm) place->second = m;
  }
  for (const auto& [step, m] : narrowest) {
    Vector3d across = m.on_b - m.on_a;  // from a to b where there is a gap
    if (std::abs(m.width_mm) > 1e-9) {
      across /= m.width_mm;
    } else {
      across = placed[0].body.outward(m.from == 0 ? m.segment : m.to_segment);
    }
    WidthRow row{.width_mm = m.width_mm + pair.offset_mm, .length_mm = kRowStep};
    const std::array<Vector3d, 2> place{m.on_a, m.on_b};
    for (std::size_t side = 0; side < 2; ++side) {
      const double sign = side == 0 ? -1 : 1;
      for (std::size_t k = 0; k < 3; ++k) {
        row.by_move[side][static_cast<Eigen::Index>(k)] =
            sign * across.dot(placed[side].velocity(place[side], k));
      }
      const bool own = static_cast<std::size_t>(m.from) == side;
      const std::size_t i = own ? m.segment : m.to_segment;
      const double t = own ? m.t : m.to_t;
      const std::vector<Vector3d>& inward = shell.pieces[index[side]].inward;
      const Vector3d off =
          placed[side].now.linear() * ((1 - t) * inward[i] + t * inward[(i + 1) % inward.size()]);
      row.by_sand[side] = std::max(0.0, sign * across.dot(off));
    }
    if (out.rows.empty() || row.width_mm < out.rows[out.narrowest].width_mm) out.narrowest = out.rows.size();
    out.rows.push_back(row);
  }
  return out;
}

}  // namespace interstice::rework
