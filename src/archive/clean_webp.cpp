// WebP: the picture's own bitstream goes into a new container.
#include <webp/mux.h>

#include <memory>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

using Mux = std::unique_ptr<WebPMux, void (*)(WebPMux*)>;

WebPData data_of(const std::string& bytes) {
  return {reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()};
}

void require(WebPMuxError result) {
  if (result != WEBP_MUX_OK) throw Damaged();
}

}  // namespace

std::string clean_webp(const std::string& picture, const CameraFacts& facts, const std::string& file) {
  const WebPData whole = data_of(picture);
  const Mux from(WebPMuxCreate(&whole, 0), WebPMuxDelete), to(WebPMuxNew(), WebPMuxDelete);
  if (!from || !to) throw Damaged();
  std::uint32_t features = 0;
  require(WebPMuxGetFeatures(from.get(), &features));
  if (features & ANIMATION_FLAG) throw core::InputError(file, "is a moving picture");
  WebPMuxFrameInfo frame{};
  require(WebPMuxGetFrame(from.get(), 1, &frame));
  const WebPMuxError set = WebPMuxSetImage(to.get(), &frame.bitstream, 1);
  WebPDataClear(&frame.bitstream);
  require(set);
  WebPData icc{};
  if (WebPMuxGetChunk(from.get(), "ICCP", &icc) == WEBP_MUX_OK) {
    const std::optional<std::string> profile =
        icc_profile({reinterpret_cast<const char*>(icc.bytes), icc.size});
    if (profile) {
      const WebPData data = data_of(*profile);
      require(WebPMuxSetChunk(to.get(), "ICCP", &data, 1));
    }
  }
  if (const std::string exif = fresh_exif(facts); !exif.empty()) {
    const WebPData data = data_of(exif);
    require(WebPMuxSetChunk(to.get(), "EXIF", &data, 1));
  }
  WebPData assembled{};
  require(WebPMuxAssemble(to.get(), &assembled));
  std::string out(reinterpret_cast<const char*>(assembled.bytes), assembled.size);
  WebPDataClear(&assembled);
  return out;
}

}  // namespace interstice::archive
