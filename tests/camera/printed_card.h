// Cards drawn by area sampling through a known lens and pose: the truth the detector is measured against.
// Drawn from the contract's numbers and OpenCV's dictionary alone, independently of the program's own card
// geometry.
#pragma once

#include <Eigen/Geometry>
#include <filesystem>
#include <functional>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "camera/lens.h"

namespace interstice::testing_support {

// Reflectance 0 to 1 of card k's sheet at (x, y) mm from its middle, x right, y up; negative off the sheet.
double card_ink(int card, double x_mm, double y_mm);

struct PlacedCard {
  int card = 1;
  Eigen::Isometry3d camera_T_card = Eigen::Isometry3d::Identity();
};

// An 8-bit picture of the cards on a grey ground: every pixel averages `samples`^2 rays.
cv::Mat draw_cards(const camera::Lens& lens, const std::vector<PlacedCard>& cards, int samples = 6);

// The card `distance_mm` away, its middle seen at `pixel`, its normal tilted by `tilt_deg` towards direction
// `towards_deg` in the picture, turned by `turn_deg` in the picture.
PlacedCard place_card(const camera::Lens& lens, int card, const Eigen::Vector2d& pixel, double distance_mm,
                      double tilt_deg, double towards_deg, double turn_deg);

Eigen::Vector2d true_corner(const camera::Lens& lens, const PlacedCard& placed, int corner_id);

// A folder that goes away with the test.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

std::string bytes_of(const std::filesystem::path& path);
void write_bytes(const std::filesystem::path& path, const std::string& bytes);

// The text of the exception of type E that `work` throws, or "nothing thrown" / "another exception: ...".
template <class E>
std::string thrown_by(const std::function<void()>& work) {
  try {
    work();
  } catch (const E& e) {
    return e.what();
  } catch (const std::exception& e) {
    return std::string("another exception: ") + e.what();
  }
  return "nothing thrown";
}

}  // namespace interstice::testing_support
