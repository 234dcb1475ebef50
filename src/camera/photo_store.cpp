#include "camera/photo_store.h"

namespace interstice::camera {
namespace {

std::size_t bytes_of(const cv::Mat& picture) {
  return picture.total() * picture.elemSize();
}

}  // namespace

cv::Mat PhotoStore::find_or_read(Pictures& kept, const PhotoInfo& info, cv::Mat (*read)(const PhotoInfo&)) {
  const std::string key = info.path.string();
  {
    const std::scoped_lock lock(mutex_);
    if (const auto it = kept.find(key); it != kept.end()) return it->second;
  }
  cv::Mat picture = read(info);  // without the lock: photos are decoded side by side
  const std::scoped_lock lock(mutex_);
  if (bytes_ + bytes_of(picture) <= budget_ && kept.emplace(key, picture).second) bytes_ += bytes_of(picture);
  return picture;
}

cv::Mat PhotoStore::grey(const PhotoInfo& info) {
  return find_or_read(grey_, info, read_photo_grey);
}

cv::Mat PhotoStore::colour(const PhotoInfo& info) {
  return find_or_read(colour_, info, read_photo_colour);
}

void PhotoStore::forget_grey() {
  const std::scoped_lock lock(mutex_);
  for (const auto& [path, picture] : grey_) bytes_ -= bytes_of(picture);
  grey_.clear();
}

std::size_t PhotoStore::bytes() const {
  const std::scoped_lock lock(mutex_);
  return bytes_;
}

}  // namespace interstice::camera
