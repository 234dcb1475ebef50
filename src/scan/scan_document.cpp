#include "scan/scan_document.h"

#include <zlib.h>

#include <algorithm>
#include <cmath>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"

namespace interstice::scan {

using Json = nlohmann::ordered_json;
using Eigen::Vector3d;
namespace fs = std::filesystem;

namespace {

constexpr std::uintmax_t kMaxPhotoBytes = 1u << 30;
constexpr double kMaxShift_px = 1000;
constexpr std::size_t kMaxPhotos = 10000, kMaxPoints = 10000000;

Json write_lens_numbers(const camera::Lens& lens) {
  return {{"fx", lens.fx}, {"fy", lens.fy}, {"cx", lens.cx}, {"cy", lens.cy}, {"k1", lens.k1},
          {"k2", lens.k2}, {"k3", lens.k3}, {"p1", lens.p1}, {"p2", lens.p2}};
}

Eigen::Isometry3d read_pose(const core::JsonNode& node) {
  Eigen::Isometry3d t = Eigen::Isometry3d::Identity();
  const core::JsonNode rows = node.at("rotation");
  if (rows.size() != 3) rows.fail("needs 3 rows");
  for (int i = 0; i < 3; ++i) {
    const std::vector<double> row = rows.at(static_cast<std::size_t>(i)).numbers(3);
    for (int j = 0; j < 3; ++j) t.linear()(i, j) = row[static_cast<std::size_t>(j)];
  }
  const Eigen::Matrix3d r = t.linear();
  if (!(r * r.transpose()).isIdentity(1e-6) || r.determinant() < 0) rows.fail("is not a rotation");
  const std::vector<double> translation = node.at("translation").numbers(3);
  t.translation() = Vector3d(translation[0], translation[1], translation[2]);
  return t;
}

camera::Lens read_lens_numbers(const core::JsonNode& node, int width, int height) {
  camera::Lens lens;
  lens.width = width;
  lens.height = height;
  lens.fx = node.at("fx").number(1, 1e6);
  lens.fy = node.at("fy").number(1, 1e6);
  lens.cx = node.at("cx").number(-1e6, 1e6);
  lens.cy = node.at("cy").number(-1e6, 1e6);
  lens.k1 = node.at("k1").number(-10, 10);
  lens.k2 = node.at("k2").number(-100, 100);
  lens.k3 = node.at("k3").number(-1000, 1000);
  lens.p1 = node.at("p1").number(-1, 1);
  lens.p2 = node.at("p2").number(-1, 1);
  lens.check(node.file());
  return lens;
}

// What a photo's lens does beyond its numbers in cameras.json, in pixels of the picture that was measured. Fields are many photos' own: written once.
Json write_fields(const std::vector<std::shared_ptr<const camera::ShiftField>>& fields) {
  Json all = Json::array();
  for (const auto& field : fields) {
    Json shifts = Json::array();
    for (Eigen::Index i = 0; i < field->coefficients(); ++i)
      shifts.push_back({field->shifts()(i, 0), field->shifts()(i, 1)});
    all.push_back({{"width", field->width()},
                   {"height", field->height()},
                   {"cells", field->cells()},
                   {"shifts_px", shifts}});
  }
  return all;
}

std::vector<std::shared_ptr<const camera::ShiftField>> read_fields(const core::JsonNode& root) {
  std::vector<std::shared_ptr<const camera::ShiftField>> all;
  if (!root.has("lens_residuals")) return all;
  const core::JsonNode nodes = root.at("lens_residuals");
  if (nodes.size() > kMaxPhotos) nodes.fail("has more than " + std::to_string(kMaxPhotos) + " entries");
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    const core::JsonNode node = nodes.at(i);
    camera::ShiftField field(node.at("width").integer(16, 100000), node.at("height").integer(16, 100000),
                             node.at("cells").integer(1, 100));
    const core::JsonNode shifts = node.at("shifts_px");
    if (shifts.size() != static_cast<std::size_t>(field.coefficients()))
      shifts.fail("needs " + std::to_string(field.coefficients()) + " entries");
    for (std::size_t k = 0; k < shifts.size(); ++k) {
      const std::vector<double> shift = shifts.at(k).numbers(2);
      if (!(std::hypot(shift[0], shift[1]) < kMaxShift_px)) shifts.at(k).fail("is no small shift");
      field.shifts().row(static_cast<Eigen::Index>(k)) << shift[0], shift[1];
    }
    all.push_back(std::make_shared<const camera::ShiftField>(std::move(field)));
  }
  return all;
}

void read_shifts(const core::JsonNode& node,
                 const std::vector<std::shared_ptr<const camera::ShiftField>>& fields, camera::Lens& lens) {
  if (node.has("row_shift_px")) {
    const std::vector<double> shift = node.at("row_shift_px").numbers(2);
    if (!(std::hypot(shift[0], shift[1]) < kMaxShift_px)) node.at("row_shift_px").fail("is no small shift");
    lens.row_shift_px = {shift[0], shift[1]};
  }
  if (!node.has("lens_residual")) return;
  const int field = node.at("lens_residual").integer(0, 1000000);
  if (static_cast<std::size_t>(field) >= fields.size())
    node.at("lens_residual").fail("is not in lens_residuals");
  lens.residual = fields[static_cast<std::size_t>(field)];
  if (lens.residual->width() != lens.width || lens.residual->height() != lens.height)
    node.at("lens_residual").fail("is of another picture size");
}

Json write_quality(const ScanQuality& q) {
  return {{"photos_given", q.photos_given},
          {"reprojection_rms_px", q.reprojection_rms_px},
          {"tie_rms_px", q.tie_rms_px},
          {"tie_points", q.tie_points},
          {"pixel_footprint_mm", q.pixel_footprint_mm},
          {"scale_sd", q.scale_sd},
          {"check_line_given", q.check_line_given},
          {"lens_given", q.lens_given},
          {"length_error_mm", q.length_error_mm ? Json(*q.length_error_mm) : Json(nullptr)},
          {"longest_length_mm", q.longest_length_mm}};
}

ScanQuality read_quality(const core::JsonNode& node) {
  ScanQuality q;
  q.photos_given = node.at("photos_given").integer(0, 1000000);
  q.reprojection_rms_px = node.at("reprojection_rms_px").number(0, 1e6);
  q.tie_rms_px = node.at("tie_rms_px").number(0, 1e6);
  q.tie_points = static_cast<std::size_t>(node.at("tie_points").integer(0, 100000000));
  q.pixel_footprint_mm = node.at("pixel_footprint_mm").number(0, 1e6);
  q.scale_sd = node.at("scale_sd").number(0, 1);
  q.check_line_given = node.at("check_line_given").boolean();
  q.lens_given = node.at("lens_given").boolean();
  if (!node.at("length_error_mm").is_null()) q.length_error_mm = node.at("length_error_mm").number(-1e6, 1e6);
  q.longest_length_mm = node.at("longest_length_mm").number(0, 1e6);
  return q;
}

Json checksum_or_null(const fs::path& photo) {
  try {
    return photo_checksum(core::read_file(photo, kMaxPhotoBytes));
  } catch (const core::InputError&) {
    return nullptr;
  }
}

}  // namespace

std::uint32_t photo_checksum(const std::string& bytes) {
  return static_cast<std::uint32_t>(
      crc32_z(0, reinterpret_cast<const Bytef*>(bytes.data()), static_cast<z_size_t>(bytes.size())));
}

std::string write_cameras(const Scan& scan) {
  Json photos = Json::array();
  for (const ScannedPhoto& photo : scan.photos) {
    Json j;
    j["name"] = photo.info.name;
    const int reduced = photo.info.reduced;
    const Eigen::Matrix3d r = photo.camera_T_bowl.linear();
    j["rotation"] = Json::array();
    for (int i = 0; i < 3; ++i) j["rotation"].push_back({r(i, 0), r(i, 1), r(i, 2)});
    const Vector3d t = photo.camera_T_bowl.translation();
    j["translation"] = {t.x(), t.y(), t.z()};
    j.update(
        write_lens_numbers(photo.lens.scaled_to(photo.lens.width * reduced, photo.lens.height * reduced)));
    photos.push_back(j);
  }
  return Json{{"photos", photos}}.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string write_scan(const Scan& scan) {
  Json root;
  root["format"] = "interstice-scan";
  root["version"] = 1;
  root["photos"] = Json::array();
  std::vector<std::shared_ptr<const camera::ShiftField>> fields;
  for (const ScannedPhoto& photo : scan.photos) {
    Json covariance = Json::array();
    for (int i = 0; i < 7; ++i) {
      for (int j = 0; j <= i; ++j) covariance.push_back(photo.covariance(i, j));
    }
    root["photos"].push_back({{"name", photo.info.name},
                              {"file", core::escaped(photo.info.path.filename().string())},
                              {"crc32", checksum_or_null(photo.info.path)},
                              {"width", photo.lens.width * photo.info.reduced},
                              {"height", photo.lens.height * photo.info.reduced},
                              {"covariance", covariance}});
    Json& written = root["photos"].back();
    if (photo.info.reduced > 1) written["reduced"] = photo.info.reduced;
    if (!photo.lens.row_shift_px.isZero(0))
      written["row_shift_px"] = {photo.lens.row_shift_px.x(), photo.lens.row_shift_px.y()};
    if (!photo.lens.residual) continue;
    const auto known = std::find(fields.begin(), fields.end(), photo.lens.residual);
    written["lens_residual"] = known - fields.begin();
    if (known == fields.end()) fields.push_back(photo.lens.residual);
  }
  if (!fields.empty()) root["lens_residuals"] = write_fields(fields);
  root["left_out"] = Json::array();
  for (const LeftOut& out : scan.left_out)
    root["left_out"].push_back({{"photo", out.photo}, {"reason", out.reason}});
  root["quality"] = write_quality(scan.quality);
  root["points"] = Json::array();
  for (const Vector3d& p : scan.points) root["points"].push_back({p.x(), p.y(), p.z()});
  return root.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

namespace {

// A photo's file in a folder: a file of that name, or the one whose name is written so.
std::optional<fs::path> file_in(const fs::path& folder, const std::string& written, bool links) {
  std::error_code ec;
  const auto fits = [&](const fs::path& file) {
    return fs::is_regular_file(links ? fs::status(file, ec) : fs::symlink_status(file, ec));
  };
  if (fits(folder / written)) return folder / written;
  if (written.find("\\x") == std::string::npos) return std::nullopt;
  for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
    if (core::escaped(it->path().filename().string()) == written && fits(it->path())) return it->path();
  }
  return std::nullopt;
}

// Where the photo may be, best first. What the scan itself says names nothing but a file beside it: a folder
// that somebody else made must not make us show other files of this computer.
std::vector<fs::path> places_of(const std::string& written, const fs::path& scan, const PhotoPlace& place) {
  std::vector<fs::path> out;
  for (const fs::path& folder : {place.folder, place.remembered}) {
    if (folder.empty()) continue;
    if (const auto file = file_in(folder, written, true)) out.push_back(*file);
  }
  const fs::path here = fs::absolute(scan).lexically_normal() / "";
  for (const char* folder : {".", "photos", "../photos", "../../photos"}) {
    const fs::path beside = (here / folder).lexically_normal();
    if (const auto file = file_in(beside, written, false)) out.push_back(*file);
  }
  return out;
}

// As the scan carried it.
camera::PhotoInfo carried(const camera::PhotoInfo& whole, const core::JsonNode& node) {
  if (!node.has("reduced")) return whole;
  const int factor = node.at("reduced").integer(1, 4);
  if (factor == 3 || whole.width % factor != 0 || whole.height % factor != 0)
    node.at("reduced").fail("does not divide the sides by 1, 2 or 4");
  return camera::reduced_photo(whole, factor);
}

camera::PhotoInfo photo_now(const core::JsonNode& node, const fs::path& scan, const PhotoPlace& place) {
  // Earlier versions wrote a whole path; its last part alone counts.
  const std::string written = fs::path(node.at("file").text(4096)).filename().string();
  if (written.empty() || written == "." || written == "..") node.at("file").fail("is not the name of a file");
  const int w = node.at("width").integer(1, 100000), h = node.at("height").integer(1, 100000);
  const bool known = node.has("crc32") && !node.at("crc32").is_null();
  const double checksum = known ? node.at("crc32").number(0, 4294967295.0) : 0;
  std::string fault = "its photo " + core::one_line(written, 200) +
                      " is not beside it: name the folder the photos are in with --photos";
  camera::PhotoInfo info;
  info.width = w, info.height = h;
  for (const fs::path& file : places_of(written, scan, place)) {
    try {
      camera::PhotoInfo found = camera::read_photo_info(file);
      if (found.width != w || found.height != h ||
          (known && photo_checksum(core::read_file(file, kMaxPhotoBytes)) != checksum)) {
        fault = "the photo " + core::one_line(file.string(), 200) +
                " has changed since the scan, or is another one";
        continue;
      }
      info = std::move(found);
      break;
    } catch (const core::InputError& e) {
      fault = e.what();
    }
  }
  if (info.path.empty() && !place.may_be_gone) node.fail(fault);
  info.name = node.at("name").text(4096);
  return carried(info, node);
}

}  // namespace

Scan read_scan(const std::filesystem::path& folder, const PhotoPlace& place) {
  const std::string cameras_file = (folder / "cameras.json").string(),
                    scan_file = (folder / "scan.json").string();
  const nlohmann::json cameras_json = core::read_json(cameras_file), scan_json = core::read_json(scan_file);
  const core::JsonNode cameras = core::JsonNode(cameras_json, cameras_file).at("photos");
  const core::JsonNode root(scan_json, scan_file);
  if (root.at("format").text() != "interstice-scan") root.at("format").fail("this is not a scan file");
  if (root.at("version").number() != 1) root.at("version").fail("only version 1 is understood");
  const core::JsonNode photos = root.at("photos");
  if (photos.size() != cameras.size()) photos.fail("does not match cameras.json");
  if (photos.size() > kMaxPhotos) photos.fail("has more than " + std::to_string(kMaxPhotos) + " entries");
  Scan scan;
  const auto fields = read_fields(root);
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const core::JsonNode node = photos.at(i);
    ScannedPhoto photo;
    photo.info = photo_now(node, folder, place);
    if (cameras.at(i).at("name").text(4096) != photo.info.name)
      cameras.at(i).fail("does not match scan.json");
    photo.camera_T_bowl = read_pose(cameras.at(i));
    photo.lens = read_lens_numbers(cameras.at(i), photo.info.file_width(), photo.info.file_height())
                     .scaled_to(photo.info.width, photo.info.height);
    read_shifts(node, fields, photo.lens);
    const std::vector<double> covariance = node.at("covariance").numbers(28);
    for (int r = 0, k = 0; r < 7; ++r) {
      for (int c = 0; c <= r; ++c, ++k) {
        photo.covariance(r, c) = photo.covariance(c, r) = covariance[static_cast<std::size_t>(k)];
      }
    }
    scan.photos.push_back(std::move(photo));
  }
  const core::JsonNode left = root.at("left_out");
  for (std::size_t i = 0; i < left.size(); ++i) {
    scan.left_out.push_back({left.at(i).at("photo").text(4096), left.at(i).at("reason").text(4096)});
  }
  scan.quality = read_quality(root.at("quality"));
  const core::JsonNode points = root.at("points");
  if (points.size() > kMaxPoints) points.fail("has more than " + std::to_string(kMaxPoints) + " entries");
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::vector<double> p = points.at(i).numbers(3);
    scan.points.emplace_back(p[0], p[1], p[2]);
  }
  return scan;
}

}  // namespace interstice::scan
