// Decoded pictures kept from one stage for the next, so that no photo is decoded twice while memory allows.
#pragma once

#include <cstddef>
#include <map>
#include <mutex>
#include <opencv2/core/mat.hpp>
#include <string>

#include "camera/photo.h"

namespace interstice::camera {

// Pictures as read_photo_grey() and read_photo_colour() give them; the same errors. What does not fit into
// the budget is decoded again each time it is asked for, so memory is bounded whatever the number of photos.
// The pictures are shared: nobody may draw into them. Safe to use from several threads.
class PhotoStore {
 public:
  // Enough for 28 colour pictures of 12 megapixels.
  static constexpr std::size_t kBudgetBytes = std::size_t{1} << 30;

  explicit PhotoStore(std::size_t budget_bytes = kBudgetBytes) : budget_(budget_bytes) {}

  cv::Mat grey(const PhotoInfo& info);
  cv::Mat colour(const PhotoInfo& info);
  void forget_grey();  // once no stage asks for them any more

  std::size_t bytes() const;  // kept at present

 private:
  using Pictures = std::map<std::string, cv::Mat>;  // by path
  cv::Mat find_or_read(Pictures& kept, const PhotoInfo& info, cv::Mat (*read)(const PhotoInfo&));

  std::size_t budget_, bytes_ = 0;
  Pictures grey_, colour_;
  mutable std::mutex mutex_;
};

}  // namespace interstice::camera
