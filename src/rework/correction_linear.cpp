#include "rework/correction_linear.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "solid/throat.h"

namespace interstice::rework {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector3d;

constexpr double kRowStep = 3.0;         // mm of seam to one row
constexpr double kThin_mm = 1e-9;        // across less the way from wall to wall is not known
constexpr std::size_t kThroatEvery = 2;  // mouths: throats change slowly along a seam

// A piece at a place, with the velocities of its points against the three moves.
struct PlacedPiece {
  solid::SolidBody body;
  Isometry3d now;
  std::array<Isometry3d, 3> ahead;
  std::array<double, 3> step;

  PlacedPiece(const CorrectionShell& shell, PieceIndex index, const Move& at) {
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

double depth_share(const solid::SolidBody& body, std::size_t segment, const Vector3d& on_wall) {
  const solid::PieceSolid& piece = body.solid();
  const std::size_t i = segment % piece.arris.size();
  const double height = (piece.arris[i] - piece.root[i]).dot(piece.face.normal);
  return height > 0 ? std::clamp((piece.arris[i] - on_wall).dot(piece.face.normal) / height, 0.0, 1.0) : 0.0;
}

namespace {

// Two points of the pieces and where they lie below the outlines.
struct Gap {
  double width_mm = 0;
  std::array<Vector3d, 2> at;
  std::array<std::size_t, 2> segment{0, 0};
  std::array<double, 2> t{0, 0};
};

Gap gap_of(const solid::MouthSample& m) {
  if (m.from == 0) return {m.width_mm, {m.on_a, m.on_b}, {m.segment, m.to_segment}, {m.t, m.to_t}};
  return {m.width_mm, {m.on_a, m.on_b}, {m.to_segment, m.segment}, {m.to_t, m.t}};
}
Gap gap_of(const solid::Throat& t) {
  return {t.width_mm, {t.on_a, t.on_b}, {t.segment_a, t.segment_b}, {t.t_a, t.t_b}};
}

WidthRow row_of(const CorrectionShell& shell, const std::array<PieceIndex, 2>& index,
                const std::array<PlacedPiece, 2>& placed, const Gap& gap) {
  Vector3d across = gap.at[1] - gap.at[0];  // from a to b where there is a gap
  if (std::abs(gap.width_mm) > kThin_mm) {
    across /= gap.width_mm;
  } else {
    across = placed[0].body.outward(gap.segment[0]);
  }
  WidthRow row{.width_mm = gap.width_mm, .length_mm = kRowStep};
  for (std::size_t side = 0; side < 2; ++side) {
    const double sign = side == 0 ? -1 : 1;
    for (std::size_t k = 0; k < 3; ++k) {
      row.by_move[side][static_cast<Eigen::Index>(k)] =
          sign * across.dot(placed[side].velocity(gap.at[side], k));
    }
    const std::vector<Vector3d>& inward = shell.pieces[index[side]].inward;
    const std::size_t i = gap.segment[side] % inward.size();
    const Vector3d off = placed[side].now.linear() *
                         ((1 - gap.t[side]) * inward[i] + gap.t[side] * inward[(i + 1) % inward.size()]);
    row.by_sand[side] = std::max(0.0, sign * across.dot(off));
    row.by_ease[side] = row.by_sand[side] * depth_share(placed[side].body, i, gap.at[side]);
  }
  return row;
}

using Steps = std::map<long, Gap>;
void offer(Steps& steps, double s_mm, const Gap& gap) {
  const auto [place, is_new] = steps.try_emplace(std::lround(std::floor(s_mm / kRowStep)), gap);
  if (!is_new && gap.width_mm < place->second.width_mm) place->second = gap;
}

}  // namespace

LinearPair linearise(const CorrectionShell& shell, const ShellPair& pair, const std::array<Move, 2>& at) {
  LinearPair out;
  out.at = at;
  const std::array<PieceIndex, 2> index{pair.a, pair.b};
  const std::array<PlacedPiece, 2> placed{PlacedPiece(shell, pair.a, at[0]),
                                          PlacedPiece(shell, pair.b, at[1])};
  const auto mouths = solid::mouth_along(placed[0].body, placed[1].body, {.limit_mm = shell.reach_mm});
  Steps mouth, throat;
  for (const solid::MouthSample& m : mouths) offer(mouth, m.s_mm, gap_of(m));
  if (std::isfinite(pair.throat_lower_mm)) {
    std::vector<solid::MouthSample> some;
    for (std::size_t i = 0; i < mouths.size(); i += kThroatEvery) some.push_back(mouths[i]);
    const solid::SolidBody a = kept_body(shell, pair.a, placed[0].body.solid()),
                           b = kept_body(shell, pair.b, placed[1].body.solid());
    const auto throats = solid::throats_along(a, b, some, {.limit_mm = shell.reach_mm});
    for (std::size_t i = 0; i < some.size(); ++i) {
      if (throats[i]) offer(throat, some[i].s_mm, gap_of(*throats[i]));
    }
  }
  for (const auto& [step, gap] : mouth) {
    WidthRow row = row_of(shell, index, placed, gap);
    row.width_mm += pair.offset_mm;
    row.step = step;
    if (out.rows.empty() || row.width_mm < out.rows[out.narrowest].width_mm) out.narrowest = out.rows.size();
    out.rows.push_back(row);
  }
  for (const auto& [step, gap] : throat) {
    WidthRow row = row_of(shell, index, placed, gap);
    row.width_mm += pair.throat_offset_mm;
    row.step = step;
    row.throat = true;
    if (!out.narrowest_throat || row.width_mm < out.rows[*out.narrowest_throat].width_mm)
      out.narrowest_throat = out.rows.size();
    out.rows.push_back(row);
  }
  return out;
}

}  // namespace interstice::rework
