#include "archive/private_pictures.h"

#include <libheif/heif.h>

#include <exiv2/exiv2.hpp>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

#include "archive/picture_parts.h"

namespace interstice::sample {
namespace {

constexpr int kWidth = 64, kHeight = 64;  // the least that HEVC encoders take

cv::Mat picture(int type = CV_8UC3) {
  cv::Mat out(kHeight, kWidth, type);
  cv::RNG random(7);
  random.fill(out, cv::RNG::UNIFORM, 0, CV_MAT_DEPTH(type) == CV_16U ? 65535 : 255);
  return out;
}

std::string encoded(const char* ending, const cv::Mat& picture, const std::vector<int>& how = {}) {
  std::vector<unsigned char> bytes;
  if (!cv::imencode(ending, picture, bytes, how)) throw std::runtime_error("no encoder");
  return {bytes.begin(), bytes.end()};
}

void tell_everything(Exiv2::ExifData& exif) {
  exif["Exif.Image.Orientation"] = std::uint16_t{6};
  exif["Exif.Image.Make"] = "Heron";
  exif["Exif.Image.Model"] = "Wader 2";
  exif["Exif.Photo.FocalLength"] = Exiv2::URational(57, 10);
  exif["Exif.Photo.FocalLengthIn35mmFilm"] = std::uint16_t{26};
  exif["Exif.Image.ImageDescription"] = kSecret;
  exif["Exif.Image.Artist"] = kSecret;
  exif["Exif.Photo.UserComment"] = std::string("charset=Ascii ") + kSecret;
  exif["Exif.GPSInfo.GPSLatitudeRef"] = "N";
  exif["Exif.GPSInfo.GPSLatitude"] = "51/1 28/1 4044/100";
  exif["Exif.GPSInfo.GPSAreaInformation"] = std::string("charset=Ascii ") + kSecret;
}

// Maker notes as bytes that only their maker understands.
void add_maker_note(Exiv2::ExifData& exif) {
  Exiv2::DataValue note(Exiv2::undefined);
  const std::string text = std::string("HERON\0\1\2", 8) + kSecret;
  note.read(reinterpret_cast<const Exiv2::byte*>(text.data()), static_cast<long>(text.size()));
  exif.add(Exiv2::ExifKey("Exif.Photo.MakerNote"), &note);
}

std::string exif_data() {
  Exiv2::ExifData exif;
  tell_everything(exif);
  add_maker_note(exif);
  Exiv2::Blob blob;
  Exiv2::ExifParser::encode(blob, Exiv2::bigEndian, exif);
  return {blob.begin(), blob.end()};
}

std::string xmp_packet() {
  return std::string(
             "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF "
             "xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description rdf:about=\"\" "
             "xmlns:exif=\"http://ns.adobe.com/exif/1.0/\" "
             "xmlns:photoshop=\"http://ns.adobe.com/photoshop/1.0/\" exif:GPSLatitude=\"51,28.674N\" "
             "photoshop:City=\"") +
         kSecret + "\"/></rdf:RDF></x:xmpmeta>";
}

// With metadata as a picture program writes them.
std::string with_notes(const std::string& bytes, bool iptc) {
  auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(bytes.data()),
                                         static_cast<long>(bytes.size()));
  image->readMetadata();
  tell_everything(image->exifData());
  image->xmpData()["Xmp.exif.GPSLatitude"] = "51,28.674N";
  image->xmpData()["Xmp.photoshop.City"] = kSecret;
  if (iptc) image->iptcData()["Iptc.Application2.City"] = kSecret;
  image->writeMetadata();
  Exiv2::BasicIo& io = image->io();
  io.open();
  const Exiv2::DataBuf out = io.read(static_cast<long>(io.size()));
  return {reinterpret_cast<const char*>(out.pData_), static_cast<std::size_t>(out.size_)};
}

std::string segment(unsigned marker, const std::string& content) {
  return std::string{static_cast<char>(0xff), static_cast<char>(marker)} +
         archive::as_big_endian(content.size() + 2, 2) + content;
}

// Segments put in right after the start of a JPEG.
std::string with_segments(const std::string& jpeg, const std::string& segments) {
  return jpeg.substr(0, 2) + segments + jpeg.substr(2);
}

std::string exif_segment() {
  return segment(0xe1, std::string("Exif\0\0", 6) + exif_data());
}

std::string box(const std::string& type, const std::string& content) {
  return archive::as_big_endian(content.size() + 8, 4) + type + content;
}

// What phones put behind a moving photo: a film with the place in its user data (ISO 6709, as films have it).
std::string film() {
  const std::string place = std::string("+51.4779-000.0015/") + kSecret;
  const std::string xyz =
      box("\xa9xyz", archive::as_big_endian(place.size(), 2) + archive::as_big_endian(0x15c7, 2) + place);
  return box("ftyp", std::string("mp42\0\0\0\0mp42isom", 16)) + box("moov", box("udta", xyz)) +
         box("mdat", std::string(500, 'f'));
}

std::string with_second_picture(const std::string& jpeg) {
  // CIPA DC-007: an index of pictures; here its place and no more, the second picture itself follows.
  const std::string index = segment(0xe2, std::string("MPF\0MM\0*\0\0\0\x08\0\0\0\0\0\0", 18) + kSecret);
  return with_segments(jpeg, exif_segment() + index) + with_segments(jpeg, exif_segment());
}

std::string with_extended_xmp(const std::string& jpeg) {
  const std::string name("http://ns.adobe.com/xmp/extension/\0", 35), guid(32, 'A'), packet = xmp_packet();
  const std::string first = segment(0xe1, std::string("http://ns.adobe.com/xap/1.0/\0", 29) + xmp_packet());
  return with_segments(jpeg, exif_segment() + first +
                                 segment(0xe1, name + guid + archive::as_big_endian(packet.size(), 4) +
                                                   archive::as_big_endian(0, 4) + packet));
}

std::string with_profile(const std::string& jpeg) {
  const std::string profile = large_profile(), mark("ICC_PROFILE\0", 12);
  const std::size_t half = 65000;
  return with_segments(jpeg, exif_segment() + segment(0xe2, mark + "\1\2" + profile.substr(0, half)) +
                                 segment(0xe2, mark + "\2\2" + profile.substr(half) + kSecret));
}

std::string chunk(const std::string& name, const std::string& content) {
  // Readers that mind the check sum skip such a chunk; what matters here is whether its bytes go along.
  return archive::as_big_endian(content.size(), 4) + name + content + std::string(4, '\0');
}

std::string private_png() {
  const std::string png = with_notes(encoded(".png", picture()), false);
  const std::size_t after_header = 8 + 25, end = png.rfind("IEND") - 4;
  return png.substr(0, after_header) + chunk("tEXt", std::string("Location\0", 9) + kSecret) +
         chunk("eXIf", exif_data()) + chunk("zXXx", kSecret) + png.substr(after_header, end - after_header) +
         chunk("tEXt", std::string("Comment\0", 8) + kSecret) + png.substr(end) + kSecret;
}

void require(const heif_error& error) {
  if (error.code != heif_error_Ok) throw std::runtime_error(error.message);
}

heif_error append(heif_context*, const void* data, std::size_t size, void* to) {
  static_cast<std::string*>(to)->append(static_cast<const char*>(data), size);
  return {heif_error_Ok, heif_suberror_Unspecified, ""};
}

std::string plain_heic(bool notes) {
  const std::unique_ptr<heif_context, void (*)(heif_context*)> context(heif_context_alloc(),
                                                                       heif_context_free);
  heif_encoder* encoder = nullptr;
  require(heif_context_get_encoder_for_format(context.get(), heif_compression_HEVC, &encoder));
  const std::unique_ptr<heif_encoder, void (*)(heif_encoder*)> encoding(encoder, heif_encoder_release);
  heif_image* image = nullptr;
  require(heif_image_create(kWidth, kHeight, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image));
  const std::unique_ptr<heif_image, void (*)(const heif_image*)> owned(image, heif_image_release);
  require(heif_image_add_plane(image, heif_channel_interleaved, kWidth, kHeight, 8));
  int step = 0;
  unsigned char* plane = heif_image_get_plane(image, heif_channel_interleaved, &step);
  const cv::Mat from = picture();
  for (int y = 0; y < kHeight; ++y) std::copy_n(from.ptr(y), 3 * kWidth, plane + y * step);
  heif_image_handle* handle = nullptr;
  require(heif_context_encode_image(context.get(), image, encoder, nullptr, &handle));
  const std::unique_ptr<heif_image_handle, void (*)(const heif_image_handle*)> held(
      handle, heif_image_handle_release);
  if (notes) {
    const std::string exif = exif_data(), xmp = xmp_packet();
    require(
        heif_context_add_exif_metadata(context.get(), handle, exif.data(), static_cast<int>(exif.size())));
    require(heif_context_add_XMP_metadata(context.get(), handle, xmp.data(), static_cast<int>(xmp.size())));
  }
  std::string out;
  heif_writer writer{1, append};
  require(heif_context_write(context.get(), &writer, &out));
  return out;
}

std::string full_box(const std::string& type, unsigned version_and_flags, const std::string& content) {
  return box(type, archive::as_big_endian(version_and_flags, 4) + content);
}

// A picture of two equal tiles side by side, as phones write their large ones: items 1 (grid), 2 and 3,
// turned by 90 degrees, EXIF as item 4, a message for readers in front of each tile's data, a film behind.
std::string tiled_heic() {
  const std::string one = plain_heic(false);
  const std::size_t configured = one.find("hvcC") - 4;
  const std::string hvcc = one.substr(configured, archive::big_endian(one, configured, 4));
  const std::size_t data_box = one.rfind("mdat") - 4;
  const std::string coded = one.substr(data_box + 8, archive::big_endian(one, data_box, 4) - 8);
  const std::string note = std::string("\x4e\x01\x05", 3) + kSecret;  // SEI, user data
  const std::string tile = archive::as_big_endian(note.size(), 4) + note + coded;
  const std::string grid =
      std::string("\0\0\0\1", 4) + archive::as_big_endian(2 * kWidth, 2) + archive::as_big_endian(kHeight, 2);
  const std::string exif = archive::as_big_endian(6, 4) + std::string("Exif\0\0", 6) + exif_data();
  const std::string ftyp = box("ftyp", std::string("heic\0\0\0\0mif1heic", 16));
  const std::string data[] = {grid, tile, tile, exif};
  const auto size_of = [](int width) {
    return full_box(
        "ispe", 0,
        archive::as_big_endian(static_cast<std::uint64_t>(width), 4) + archive::as_big_endian(kHeight, 4));
  };
  const auto meta = [&](std::size_t from) {
    std::string places = archive::as_big_endian(0x4400, 2) + archive::as_big_endian(4, 2),
                items = archive::as_big_endian(4, 2);
    const char* types[] = {"grid", "hvc1", "hvc1", "Exif"};
    for (unsigned k = 0; k < 4; ++k) {
      places += archive::as_big_endian(k + 1, 2) + archive::as_big_endian(0, 2) +
                archive::as_big_endian(1, 2) + archive::as_big_endian(from, 4) +
                archive::as_big_endian(data[k].size(), 4);
      from += data[k].size();
      items += full_box("infe", 0x02000000,
                        archive::as_big_endian(k + 1, 2) + archive::as_big_endian(0, 2) + types[k] +
                            (k < 3 ? kSecret : "") + std::string(1, '\0'));
    }
    const std::string references =
        box("dimg", std::string("\0\1\0\2\0\2\0\3", 8)) + box("cdsc", std::string("\0\4\0\1\0\1", 6));
    const std::string properties =
        hvcc + size_of(kWidth) + size_of(2 * kWidth) + box("irot", "\3") + full_box("udes", 0, kSecret);
    const std::string uses = archive::as_big_endian(3, 4) + std::string("\0\1\3\3\x84\5", 6) +
                             std::string("\0\2\2\x81\2", 5) + std::string("\0\3\2\x81\2", 5);
    return full_box("meta", 0,
                    full_box("hdlr", 0, std::string(4, '\0') + "pict" + std::string(13, '\0')) +
                        full_box("pitm", 0, archive::as_big_endian(1, 2)) + full_box("iloc", 0, places) +
                        full_box("iinf", 0, items) + full_box("iref", 0, references) +
                        box("iprp", box("ipco", properties) + full_box("ipma", 0, uses)));
  };
  const std::string empty = meta(0);
  return ftyp + meta(ftyp.size() + empty.size() + 8) + box("mdat", data[0] + data[1] + data[2] + data[3]) +
         film().substr(24);
}

std::string heif_pixels(const std::string& bytes) {
  const std::unique_ptr<heif_context, void (*)(heif_context*)> context(heif_context_alloc(),
                                                                       heif_context_free);
  require(heif_context_read_from_memory(context.get(), bytes.data(), bytes.size(), nullptr));
  heif_image_handle* handle = nullptr;
  require(heif_context_get_primary_image_handle(context.get(), &handle));
  const std::unique_ptr<heif_image_handle, void (*)(const heif_image_handle*)> held(
      handle, heif_image_handle_release);
  heif_image* image = nullptr;
  require(heif_decode_image(handle, &image, heif_colorspace_RGB, heif_chroma_interleaved_RGB, nullptr));
  const std::unique_ptr<heif_image, void (*)(const heif_image*)> owned(image, heif_image_release);
  int step = 0;
  const unsigned char* plane = heif_image_get_plane_readonly(image, heif_channel_interleaved, &step);
  const int width = heif_image_get_width(image, heif_channel_interleaved),
            height = heif_image_get_height(image, heif_channel_interleaved);
  std::string out = std::to_string(width) + "x" + std::to_string(height) + ":";
  for (int y = 0; y < height; ++y) {
    out.append(reinterpret_cast<const char*>(plane + y * step), static_cast<std::size_t>(3 * width));
  }
  return out;
}

}  // namespace

std::string large_profile() {
  std::string profile(100000, 'p');
  profile.replace(0, 4, archive::as_big_endian(profile.size(), 4));
  profile.replace(36, 4, "acsp");
  return profile;
}

std::map<std::string, std::string> private_pictures() {
  const std::string jpeg = encoded(".jpg", picture());
  std::map<std::string, std::string> out;
  out["notes.jpg"] = with_notes(with_segments(jpeg, segment(0xfe, kSecret)), true);
  out["film.jpg"] = with_segments(jpeg, exif_segment()) + film();
  out["second.jpg"] = with_second_picture(jpeg);
  out["extended.jpg"] = with_extended_xmp(jpeg);
  out["twice.jpg"] = with_segments(jpeg, exif_segment() + exif_segment());
  out["icc.jpg"] = with_profile(jpeg);
  out["progressive.jpg"] =
      with_segments(encoded(".jpg", picture(), {cv::IMWRITE_JPEG_PROGRESSIVE, 1}), exif_segment());
  out["one.heic"] = plain_heic(true);
  out["tiles.heic"] = tiled_heic();
  out["notes.png"] = private_png();
  out["notes.webp"] = with_notes(encoded(".webp", picture()), false);
  out["notes.tif"] = with_notes(encoded(".tif", picture(CV_16UC3)), true);
  return out;
}

std::string pixels_of(const std::string& bytes) {
  if (bytes.substr(4, 4) == "ftyp") return heif_pixels(bytes);
  const cv::Mat picture =
      cv::imdecode(std::vector<unsigned char>(bytes.begin(), bytes.end()), cv::IMREAD_UNCHANGED);
  if (picture.empty()) throw std::runtime_error("no picture");
  const std::string size = std::to_string(picture.cols) + "x" + std::to_string(picture.rows) + ":";
  return size +
         std::string(reinterpret_cast<const char*>(picture.data), picture.total() * picture.elemSize());
}

}  // namespace interstice::sample
