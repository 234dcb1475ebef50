// The second half of a scan: features of wood and form tie the photos together, one adjustment over all.
//
// Errors: MeasureError when the cards do not settle the photos' positions.
#pragma once

#include <vector>

#include "scan/card_scan.h"
#include "scan/photo_work.h"
#include "scan/tie_points.h"

namespace interstice::scan {

// Features of all photos within the space, cards left out. Needs the photos' grey pictures.
std::vector<TiePhoto> tie_features(const CardScan& cards, const SearchSpace& space, camera::PhotoStore& store,
                                   int threads);

// The same for a space that is known before the photos' positions: each photo's features are those of its own
// work (scan/photo_work.h), so far as they lie within the space.
std::vector<TiePhoto> tie_own_features(const CardScan& cards, const SearchSpace& space,
                                       camera::PhotoStore& store, int threads);

// Those of the features that lie within a smaller space.
std::vector<TiePhoto> features_within(const CardScan& cards, const std::vector<TiePhoto>& photos,
                                      const SearchSpace& space);

// Points that neighbouring photos have in common, from the strongest features; frame level. Mistaken ones are
// among them.
std::vector<Eigen::Vector3d> points_on_bench(const CardScan& cards, const std::vector<TiePhoto>& photos,
                                             int threads);

// Ties the photos on the form, adjusts everything, and notes photos, points and quality in `scan`.
// `bowl_T_level` says where on the bench the form stands; `thickness_mm` of the pieces on it (0: bare).
void tie_photos(CardScan& cards, const std::vector<TiePhoto>& photos, const geometry::Profile& form,
                double thickness_mm, const Eigen::Isometry3d& bowl_T_level, const ScanOptions& options,
                Scan& scan);

}  // namespace interstice::scan
