// The first half of a scan: photos read, their positions and the cards' from the cards alone.
//
// Photos that cannot be read, repeat another or do not agree with the others are left out and named. Frame
// `level`: z = 0 in the plane of the cards, z up. Errors as scan_photos().
#pragma once

#include <filesystem>
#include <memory>
#include <vector>

#include "scan/cards_agree.h"
#include "scan/photo_lenses.h"
#include "scan/photo_work.h"
#include "scan/scan.h"

namespace interstice::scan {

struct Candidate {  // a readable photo
  camera::PhotoInfo info;
  StartLens lens;
  std::vector<camera::CardView> views;
  std::shared_ptr<const PhotoWork> work;  // never null
};

struct CardScan {
  std::vector<Candidate> used;  // in step with the photos of the bundle
  CardSolution solution;
  Eigen::Isometry3d level_T_bench = Eigen::Isometry3d::Identity();
  Eigen::Vector2d aim_mm{0, 0};  // what the photos look at, over the bench, frame level
};

// Notes in `scan` what was given, what was left out and how sure the scale is.
CardScan scan_cards(const std::filesystem::path& folder, const ScanOptions& options, Scan& scan,
                    const core::KeptWork* kept = nullptr);

}  // namespace interstice::scan
