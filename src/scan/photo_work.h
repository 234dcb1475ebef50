// What one photo gives by itself, before it is known where it was taken from: its cards, and the features
// round what it looks at. It follows from the photo's bytes, the lens it starts with and the space that is
// searched, and from nothing else; so it can be done while photos arrive and be kept for the measuring.
//
// Units: pixels of the photo as it is carried, mm.
#pragma once

#include <Eigen/Geometry>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "camera/cards.h"
#include "camera/lens.h"
#include "camera/photo_store.h"
#include "core/kept_work.h"
#include "plan/plan.h"
#include "scan/features.h"

namespace interstice::scan {

// Where features are worth looking for: a cylinder over the bench round what the photos look at, mm.
struct SearchSpace {
  double radius_mm = 0, height_mm = 0;
};

// Round the pieces of a plan.
SearchSpace search_space(const plan::Plan& plan);

// The outline of a cylinder over the plane of a frame, in a photo: 8 bits, 255 inside; all of the photo where it
// reaches behind the camera. `aim_mm`: the cylinder's axis, x and y of the frame.
cv::Mat cylinder_mask(const camera::Lens& lens, const Eigen::Isometry3d& camera_T_level,
                      const Eigen::Vector2d& aim_mm, const SearchSpace& space);

// Takes a card's sheet of paper, as a photo shows it, out of a mask of the photo; nothing where it reaches behind
// the camera.
void leave_out_sheet(const camera::Lens& lens, const Eigen::Isometry3d& camera_T_card, cv::Mat& mask);

// A photo whose work is asked for. `kept` may be null: then nothing is looked up and nothing kept.
class PhotoWork {
 public:
  PhotoWork(camera::PhotoInfo info, camera::Lens start, const core::KeptWork* kept);

  // As camera::edge_spread_px(), in pixels as carried. Throws PhotoError.
  std::optional<double> edge_spread() const;

  // As camera::detect_cards(). Throws PhotoError.
  std::vector<camera::CardView> cards(camera::PhotoStore& store) const;

  // Where this photo by itself shows the space: round the point its axis meets, seen by its best card, with room
  // for an aim that is off, less its cards' sheets. All of the photo when no card tells.
  cv::Mat region(const std::vector<camera::CardView>& cards, const SearchSpace& space) const;

  // As find_features() inside region(), which is given. Throws PhotoError.
  Features features(const cv::Mat& region, const std::vector<camera::CardView>& cards,
                    const SearchSpace& space, camera::PhotoStore& store) const;

 private:
  camera::PhotoInfo info_;
  camera::Lens start_;
  const core::KeptWork* kept_;
  std::string digest_;  // of the photo's bytes, and how it is carried; empty: nothing is kept
};

// Does, and keeps, all of it for a photo. Throws PhotoError.
void prepare_photo(const std::filesystem::path& photo, const std::optional<camera::Lens>& lens,
                   const SearchSpace& space, const core::KeptWork& kept);

}  // namespace interstice::scan
