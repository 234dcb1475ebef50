#include "camera/lens_photos.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <mutex>
#include <optional>
#include <set>

#include "camera/cards.h"
#include "core/parallel.h"

namespace fs = std::filesystem;

namespace interstice::camera {
namespace {

struct ReadPhoto {
  std::optional<PhotoInfo> info;
  std::vector<CardView> cards;
  std::string fault;  // why it cannot be used
  bool unreadable = false;
};

ReadPhoto read_photo(const fs::path& path) {
  ReadPhoto photo;
  try {
    PhotoInfo info = read_photo_info(path);
    photo.cards = detect_cards(read_photo_grey(info));
    photo.info = std::move(info);
    if (photo.cards.empty()) photo.fault = "no card found: hidden, blurred, too dark or too small";
  } catch (const PhotoError& e) {
    photo.fault = e.reason();
    photo.unreadable = true;
  }
  return photo;
}

std::string size_text(const PhotoInfo& info) {
  return std::to_string(info.width) + " x " + std::to_string(info.height);
}

// One lens can only be found from photos of one camera at one size.
void require_one_camera(const std::vector<fs::path>& paths, const std::vector<ReadPhoto>& photos) {
  const PhotoInfo* first = nullptr;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    if (!photos[i].info) continue;
    const PhotoInfo& info = *photos[i].info;
    if (!first) first = &info;
    const std::string file = core::one_line(paths[i].string(), 400);
    const std::string other = core::one_line(first->path.filename().string(), 100);
    if (info.width == first->height && info.height == first->width && info.width != info.height) {
      throw core::InputError(
          file, "is " + size_text(info) + " pixels, " + other + " is " + size_text(*first) +
                    ": a program has turned one of them; use the photos as the camera wrote them");
    }
    if (info.width != first->width || info.height != first->height) {
      throw core::InputError(file, "is " + size_text(info) + " pixels, " + other + " is " +
                                       size_text(*first) + "; a lens needs photos of one size");
    }
    if (info.camera != first->camera) {
      throw core::InputError(file, "was taken with \"" + info.camera + "\", " + other + " with \"" +
                                       first->camera + "\"; give the photos of one camera and lens");
    }
    const bool other_focal = info.focal_mm && first->focal_mm &&
                             std::abs(*info.focal_mm - *first->focal_mm) > 0.02 * *first->focal_mm;
    if (other_focal) {
      throw core::InputError(file, "was taken with another focal length than " + other +
                                       "; give the photos of one lens, without zoom");
    }
  }
}

void require_readable(const std::vector<fs::path>& paths, const std::vector<ReadPhoto>& photos) {
  const bool any =
      std::any_of(photos.begin(), photos.end(), [](const ReadPhoto& p) { return !p.unreadable; });
  if (!any) throw PhotoError(paths.front(), photos.front().fault);
}

std::vector<CalibrationView> views_of(const std::vector<fs::path>& paths,
                                      const std::vector<ReadPhoto>& photos) {
  std::vector<CalibrationView> views;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    for (const CardView& card : photos[i].cards) {
      CalibrationView view;
      view.photo = paths[i].string();
      for (const int id : card.corner_id) view.object_mm.push_back(card_point(id).head<2>());
      view.pixel = card.pixel;
      view.sd_px = card.sd_px;
      views.push_back(std::move(view));
    }
  }
  return views;
}

void describe_views(const std::vector<CalibrationView>& views, double print_scale, LensPhotos& out) {
  bool first = true;
  for (std::size_t v = 0; v < views.size(); ++v) {
    const CalibratedView& view = out.calibration.views[v];
    out.corners_given += static_cast<int>(views[v].pixel.size());
    if (!view.used) continue;
    const double distance = view.translation_mm.norm() * print_scale;
    out.nearest_mm = first ? distance : std::min(out.nearest_mm, distance);
    out.farthest_mm = std::max(out.farthest_mm, distance);
    first = false;
    const Eigen::Vector3d normal =
        Eigen::AngleAxisd(view.rotation.norm(), view.rotation.stableNormalized()) * Eigen::Vector3d::UnitZ();
    const double cosine = std::abs(normal.dot(view.translation_mm.normalized()));
    out.steepest_tilt_deg = std::max(out.steepest_tilt_deg, std::acos(std::min(1.0, cosine)) * 180 / M_PI);
  }
}

void name_left_out(const std::vector<fs::path>& paths, const std::vector<ReadPhoto>& photos,
                   const std::vector<CalibrationView>& views, LensPhotos& out) {
  std::map<std::string, std::string> reason;
  std::set<std::string> used;
  for (std::size_t v = 0; v < views.size(); ++v) {
    if (out.calibration.views[v].used)
      used.insert(views[v].photo);
    else
      reason[views[v].photo] = out.calibration.views[v].reason;
  }
  for (std::size_t i = 0; i < paths.size(); ++i) {
    if (used.contains(paths[i].string())) continue;
    const std::string why = photos[i].fault.empty() ? reason[paths[i].string()] : photos[i].fault;
    out.left_out.push_back({core::one_line(paths[i].filename().string()), why});
  }
}

}  // namespace

std::vector<fs::path> expand_photos(const std::vector<fs::path>& given) {
  std::vector<fs::path> out;
  std::set<std::string> seen;
  const auto add = [&](const fs::path& path) {
    std::error_code ec;
    const fs::path real = fs::weakly_canonical(path, ec);
    if (seen.insert(ec ? path.string() : real.string()).second) out.push_back(path);
  };
  for (const fs::path& path : given) {
    std::error_code ec;
    if (!fs::exists(path, ec))
      throw core::InputError(core::one_line(path.string(), 400), "no such file or folder");
    if (!fs::is_directory(path, ec)) {
      add(path);
      continue;
    }
    for (const fs::path& photo : list_photos(path)) add(photo);
  }
  return out;
}

LensPhotos calibrate_from_photos(const std::vector<fs::path>& paths, double print_scale, int threads,
                                 const std::function<void(const std::string&)>& progress) {
  if (paths.empty()) throw core::InputError("no photos given");
  std::vector<ReadPhoto> photos(paths.size());
  std::mutex lock;
  std::size_t done = 0;
  core::parallel_for(paths.size(), threads, [&](std::size_t i) {
    photos[i] = read_photo(paths[i]);
    const std::lock_guard guard(lock);
    ++done;
    if (progress) progress("reading photos: " + std::to_string(done) + " of " + std::to_string(paths.size()));
  });
  require_readable(paths, photos);
  require_one_camera(paths, photos);

  const auto first =
      std::find_if(photos.begin(), photos.end(), [](const ReadPhoto& p) { return p.info.has_value(); });
  const PhotoInfo& info = *first->info;
  const std::vector<CalibrationView> views = views_of(paths, photos);
  if (progress) progress("solving for the lens");
  LensPhotos out;
  out.calibration = calibrate(info.width, info.height, exif_focal_px(info), views);
  out.calibration.lens.camera = info.camera;
  out.focal_from_exif = info.focal_35mm.has_value();
  out.photos_given = static_cast<int>(paths.size());
  describe_views(views, print_scale, out);
  name_left_out(paths, photos, views, out);
  return out;
}

}  // namespace interstice::camera
