// A bundle as a problem for Ceres: its numbers in blocks, its observations and priors as costs. For the room's own use.
#pragma once

#include <ceres/problem.h>

#include <Eigen/Core>
#include <array>
#include <vector>

#include "camera/field_prior.h"
#include "scan/bundle.h"
#include "scan/reproject.h"

namespace interstice::scan {

// The numbers of a bundle; must outlive the problem.
struct BundleBlocks {
  std::vector<Pose> cameras, cards;
  std::vector<std::array<double, camera::kLensParameters>> lenses;
  std::vector<double> focus;
  std::vector<Eigen::Vector2d> row_shifts;           // a photo
  std::vector<Eigen::Vector3d> bends;                // a card
  std::vector<std::vector<Eigen::Vector2d>> fields;  // a lens, its field's coefficients; empty without one
  std::vector<Eigen::Vector3d> points;
};

BundleBlocks blocks_of(const Bundle& bundle);

// Lenses, focusing, rows' shifts, bends and fields with what is known of them beforehand.
void add_priors(ceres::Problem& problem, BundleBlocks& blocks, const Bundle& bundle,
                const BundleOptions& options);
void add_corners(ceres::Problem& problem, BundleBlocks& blocks, const Bundle& bundle);
void add_ties(ceres::Problem& problem, BundleBlocks& blocks, const Bundle& bundle);

// Rounds a solution to where it is the same from run to run: the sparse factorisation's order of summation is not (it
// differs by some 1e-12), and the same photos give the same bytes.
void settle(BundleBlocks& blocks);
double settled(double x, double step);

}  // namespace interstice::scan
