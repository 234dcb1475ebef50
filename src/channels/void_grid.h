// The space between the pieces, cut into small boxes on the map and in height.
//
// Model. A box belongs to the void when
//  - it lies above the form and below the tape: over a piece the tape lies on its face; over a gap it is
//  pulled
//    straight from arris to arris (between two pieces linearly, where more meet weighted by inverse
//    distance);
//  - it lies in no piece;
//  - pieces within `reach` surround it at its own height: seen from it, no free side spans half a turn. So
//  where
//    the shell ends (rim, open ring, a hole) the void ends straight across from corner to corner.
// Between the lowest ring and the rim: its walls stand back from there, the more the more bevel they have, and resin
// that comes out of the seams' lower ends runs along them. The room is counted apart, up to tape that goes straight
// from the lowest arrises to the form's rim, where the rim is no farther from them than a seam is wide.
// Under a piece's flat underside the form curves away: that thin space is counted too, but apart, and belongs
// to no seam; under a back shaped to the form there is none. Wall boxes count with the fraction outside the wood. Volumes are exact for the form's
// curvature: dV = (1 + k1 h)(1 + k2 h) dA dh with k1, k2 the form's curvatures along ring and meridian. Bowl
// frame, mm; boxes are step x step on the map and 1 mm high.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <vector>

#include "channels/shell_solids.h"
#include "core/verdict.h"

namespace interstice::channels {

struct VoidGridOptions {
  double step_mm = 0.5;
  double reach_mm = core::kWidestSeam_mm;  // at the mouth
  double wall_lean = 0.2;                  // tan of the bevel
  bool backs_fitted = false;               // shaped to the form: walls go on to it, no space under the pieces
  int threads = 1;
};

class VoidGrid {
 public:
  static constexpr double kLayer_mm = 1.0;
  static constexpr std::uint16_t kNone = 0xffff;

  struct Column {
    float tape_mm = 0;                                           // height of face or tape above the form
    bool near_piece = false;                                     // some piece lies within the tables' reach
    bool in_arris = false;                                       // some piece's face covers it
    std::uint16_t first = kNone, second = kNone, third = kNone;  // nearest pieces at the mouth, nearest first
    float d1 = 1e9f, d2 = 1e9f, d3 = 1e9f;                       // their distances
  };

  VoidGrid(const ShellSolids& shell, const VoidGridOptions& options);

  double seam_volume_mm3() const;
  double under_volume_mm3() const;  // between the undersides of the pieces and the form
  double rim_volume_mm3() const;    // between the lowest pieces and the rim
  std::size_t side() const { return n_; }
  std::size_t layers() const { return layers_; }
  double step_mm() const { return step_; }
  Eigen::Vector2d map_at(std::size_t i, std::size_t j) const;
  const Column& column(std::size_t i, std::size_t j) const { return columns_[j * n_ + i]; }
  // Fraction of the box that is void, 0 to 1; 0 too where the box is outside the shell.
  double void_fraction(std::size_t i, std::size_t j, std::size_t k) const {
    return static_cast<double>(fraction_[box(i, j, k)]) / 255.0;
  }
  // Open space beside the shell at this height: neither wood nor void, below the tape.
  bool outside(std::size_t i, std::size_t j, std::size_t k) const { return state_[box(i, j, k)] == kOutside; }
  bool wood(std::size_t i, std::size_t j, std::size_t k) const { return state_[box(i, j, k)] == kWood; }
  double box_volume_mm3(std::size_t i, std::size_t j, std::size_t k) const;
  Eigen::Vector3d box_centre(std::size_t i, std::size_t j, std::size_t k) const;
  // The form below the column and the outward normal there.
  void base(const Eigen::Vector2d& uv, Eigen::Vector3d& point, Eigen::Vector3d& normal) const;
  // Lengths of unit map steps at height h: along the ring and along the meridian.
  Eigen::Vector2d scale(double rho, double height_mm) const;

 private:
  enum State : std::uint8_t { kWood, kVoid, kOutside, kAbove };  // under a piece counts as kWood here
  struct Meridian {
    Eigen::Vector2d rz, normal;
    double curvature;
  };
  struct Near {
    std::size_t field;
    double outside, height, underside;
  };
  std::size_t box(std::size_t i, std::size_t j, std::size_t k) const { return (k * n_ + j) * n_ + i; }
  Meridian meridian(double rho) const;
  void tabulate_form(const geometry::Profile& form, double rho_max);
  void fill_row(const std::vector<PieceField>& fields, const std::vector<std::size_t>& index, std::size_t j);
  void fill_column(const std::vector<PieceField>& fields, const std::vector<std::size_t>& index,
                   const std::vector<std::size_t>& near, std::size_t i, std::size_t j);
  std::size_t pieces_near(const std::vector<PieceField>& fields, const std::vector<std::size_t>& near,
                          const Eigen::Vector3d& base_point, const Eigen::Vector3d& normal,
                          std::array<Near, 8>& found) const;
  void fill_boxes(const std::vector<PieceField>& fields, const std::array<Near, 8>& found, std::size_t count,
                  const Eigen::Vector3d& base_point, const Eigen::Vector3d& normal, std::size_t i,
                  std::size_t j);
  bool enclosed(std::size_t i, std::size_t j, std::size_t k) const;
  void mark_outside(int threads);
  // How far a step of the map's grid goes from a column, towards the rim (+) or the pole (-), until a box of this
  // state; none within the distance.
  bool meets(State state, std::size_t i, std::size_t j, std::size_t k, double towards_rim_mm) const;
  double rim_fraction(std::size_t i, std::size_t j, std::size_t k) const;
  void measure_rim(const std::vector<std::uint8_t>& open, int threads);

  double step_, reach_, lean_, half_, thickness_;
  bool backs_fitted_;
  std::size_t n_ = 0, layers_ = 0;
  std::vector<Meridian> form_;
  std::vector<Column> columns_;
  std::vector<std::uint8_t> fraction_, state_;
  double rim_rho_;                           // of the form
  std::vector<double> under_mm3_, rim_mm3_;  // by row
};

}  // namespace interstice::channels
