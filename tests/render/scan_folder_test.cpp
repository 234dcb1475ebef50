// A whole scan folder: complete, readable by others, the same bytes whatever the number of threads.
#include "renderer/scan_folder.h"

#include <gtest/gtest.h>

#include <unistd.h>

#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "core/files.h"
#include "plan/plan.h"

namespace interstice::renderer {
namespace {

namespace fs = std::filesystem;

SceneOptions small_scan() {
  SceneOptions o = preset("patch");
  o.camera.width_px = 320;
  o.camera.height_px = 240;
  o.camera.photos = 3;
  o.camera.portrait_every = 3;
  o.layout.pieces = 3;
  o.cards.print_scale = 1.011;
  o.sampling.light_rays = 16;
  o.sampling.light_step_mm = 3;
  return o;
}

std::map<std::string, std::string> written(int threads) {
  const fs::path folder = fs::temp_directory_path() / ("interstice_render_" + std::to_string(::getpid()));
  SceneOptions o = small_scan();
  o.sampling.threads = threads;
  write_scan_folder(make_scene(o), folder);
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (entry.is_regular_file())
      files[fs::relative(entry.path(), folder).string()] = core::read_file(entry.path());
  }
  fs::remove_all(folder);
  return files;
}

TEST(ScanFolder, IsCompleteAndTheSameForAnyNumberOfThreads) {
  auto files = written(1);
  ASSERT_EQ(files.size(), 6u);
  EXPECT_EQ(files, written(2));

  const plan::Plan plan = plan::parse_plan(files.at("plan.json"), "plan.json");
  EXPECT_EQ(plan.tiles.size(), 3u);
  const auto scan = nlohmann::json::parse(files.at("scan.json"));
  EXPECT_EQ(scan["check_line_measured_mm"], 151.65);
  const auto truth = nlohmann::json::parse(files.at("truth.json"));
  for (const char* key :
       {"name", "smallest_fill", "rings_placed", "card_scale", "cards", "tiles", "seams", "cameras"}) {
    EXPECT_TRUE(truth.contains(key)) << key;
  }
  EXPECT_EQ(truth["cameras"].size(), 3u);
  EXPECT_EQ(truth["cards"][0]["scale"], 1.011);

  for (int i = 1; i <= 3; ++i) {
    std::string bytes = files.at("photos/photo_0" + std::to_string(i) + ".jpg");
    const std::vector<std::uint8_t> raw(bytes.begin(), bytes.end());
    const cv::Mat sensor = cv::imdecode(raw, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    EXPECT_EQ(sensor.cols, 320);
    auto image = Exiv2::ImageFactory::open(raw.data(), static_cast<long>(raw.size()));
    image->readMetadata();
    Exiv2::ExifData& exif = image->exifData();
    EXPECT_EQ(exif["Exif.Image.Orientation"].toLong(), i == 3 ? 6 : 1);
    EXPECT_EQ(exif["Exif.Image.Model"].toString(), "R1");
    // focal 0.7466 x 320 px on a diagonal of 400 px, times 43.267 mm.
    EXPECT_EQ(exif["Exif.Photo.FocalLengthIn35mmFilm"].toLong(), 26);
    EXPECT_EQ(cv::imdecode(raw, cv::IMREAD_COLOR).rows, i == 3 ? 320 : 240);
  }
}

TEST(ScanFolder, PortraitPhotosStandUprightWhenTurnedByTheirTag) {
  // Up in the world has to point to the left of the stored picture: orientation 6 is turned a quarter
  // clockwise.
  const Scene scene = make_scene(small_scan());
  const Shot& s = scene.shots[2];
  ASSERT_TRUE(s.portrait);
  const Eigen::Vector2d foot = s.project({0, 0, 0}), top = s.project({0, 0, 60});
  EXPECT_LT(top.x(), foot.x() - 20);
  EXPECT_LT(std::abs(top.y() - foot.y()), std::abs(top.x() - foot.x()));
}

}  // namespace
}  // namespace interstice::renderer
