// A phone's HEIC on its way in: cleaned, looked at, prepared, as a JPEG is.
#include <libheif/heif.h>

#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/photo_check.h"
#include "bench/worker.h"
#include "camera/printed_card.h"
#include "core/files.h"
#include "core/own_folder.h"
#include "scan/card_scene.h"

namespace interstice::bench {
namespace {

constexpr const char* kPlace = "secret place";

// EXIF that tells a place and nothing else: the first directory leads to that of GPS with its map datum (EXIF 2.3,
// tags 0x8825 and 0x0012).
std::string exif_with_place() {
  std::string e("MM\0*\0\0\0\x08", 8);
  e += std::string("\0\x01\x88\x25\0\x04\0\0\0\x01\0\0\0\x1a\0\0\0\0", 18);
  e += std::string("\0\x01\0\x12\0\x02\0\0\0\x0d\0\0\0\x2c\0\0\0\0", 18) + kPlace + std::string(2, '\0');
  return e;
}

class HeicTest : public OwnFolder {
 protected:
  // Two cards, half a metre away; false where this libheif cannot write HEIC.
  bool write_heic(const fs::path& file) const {
    const camera::Lens lens = camera::plain_lens(1600, 1200, 1300);
    cv::Mat grey =
        testing_support::draw_cards(lens, {testing_support::place_card(lens, 1, {450, 600}, 500, 0, 0, 0),
                                           testing_support::place_card(lens, 2, {1150, 600}, 500, 0, 0, 90)});
    cv::Mat rgb;
    cv::cvtColor(grey, rgb, cv::COLOR_GRAY2RGB);
    heif_context* context = heif_context_alloc();
    heif_encoder* encoder = nullptr;
    if (heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code != heif_error_Ok) {
      heif_context_free(context);
      return false;
    }
    heif_image* image = nullptr;
    heif_image_create(rgb.cols, rgb.rows, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
    heif_image_add_plane(image, heif_channel_interleaved, rgb.cols, rgb.rows, 8);
    int step = 0;
    std::uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &step);
    for (int y = 0; y < rgb.rows; ++y)
      std::copy_n(rgb.ptr(y), 3 * rgb.cols, plane + std::ptrdiff_t{step} * y);
    heif_encoder_set_lossy_quality(encoder, 80);
    heif_encoder_set_parameter(encoder, "preset", "ultrafast");
    heif_image_handle* handle = nullptr;
    EXPECT_EQ(heif_context_encode_image(context, image, encoder, nullptr, &handle).code, heif_error_Ok);
    const std::string exif = exif_with_place();
    EXPECT_EQ(
        heif_context_add_exif_metadata(context, handle, exif.data(), static_cast<int>(exif.size())).code,
        heif_error_Ok);
    EXPECT_EQ(heif_context_write_to_file(context, file.c_str()).code, heif_error_Ok);
    heif_image_handle_release(handle);
    heif_image_release(image);
    heif_encoder_release(encoder);
    heif_context_free(context);
    return true;
  }
  static nlohmann::json ask(const nlohmann::json& question) {
    return nlohmann::json::parse(answer_question(question.dump()));
  }
};

TEST_F(HeicTest, IsTakenCleanedAndLookedAt) {
  const fs::path sent = folder_ / "sent", kept = folder_ / "photo_001.heic";
  if (!write_heic(sent)) GTEST_SKIP() << "this libheif cannot write HEIC";
  ASSERT_NE(core::read_file(sent).find(kPlace), std::string::npos) << "the test's own photo tells its place";
  const auto cleaned = ask({{"do", "clean"}, {"in", sent.string()}, {"out", kept.string()}});
  ASSERT_EQ(cleaned.at("ok"), true) << cleaned;
  EXPECT_EQ(cleaned.at("ending"), "heic");
  EXPECT_EQ(cleaned.at("width"), 1600);
  EXPECT_EQ(core::read_file(kept).find(kPlace), std::string::npos);
  const auto looked = ask({{"do", "check"},
                           {"photo", kept.string()},
                           {"smallest_fill_mm", 3},
                           {"check", (folder_ / "check.json").string()},
                           {"small", (folder_ / "small.jpg").string()}});
  ASSERT_EQ(looked.at("ok"), true) << looked;
  const PhotoCheck check = parse_check(core::read_file(folder_ / "check.json"), "check.json");
  EXPECT_EQ(check.cards.size(), 2u);
  EXPECT_TRUE(check.faults.empty());
  EXPECT_GT(fs::file_size(folder_ / "small.jpg"), 1000u);
}

TEST_F(HeicTest, CutShortItIsRefused) {
  const fs::path sent = folder_ / "sent";
  if (!write_heic(sent)) GTEST_SKIP() << "this libheif cannot write HEIC";
  const std::string whole = core::read_file(sent);
  put(folder_ / "cut", whole.substr(0, whole.size() / 2));
  const auto answer =
      ask({{"do", "clean"}, {"in", (folder_ / "cut").string()}, {"out", (folder_ / "out").string()}});
  EXPECT_EQ(answer.at("ok"), false) << answer;
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

}  // namespace
}  // namespace interstice::bench
