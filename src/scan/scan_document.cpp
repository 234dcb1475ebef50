#include "scan/scan_document.h"

#include <cmath>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::scan {

using Json = nlohmann::ordered_json;
using Eigen::Vector3d;

namespace {

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

}  // namespace

std::string write_cameras(const Scan& scan) {
  Json photos = Json::array();
  for (const ScannedPhoto& photo : scan.photos) {
    Json j;
    j["name"] = photo.info.name;
    const Eigen::Matrix3d r = photo.camera_T_bowl.linear();
    j["rotation"] = Json::array();
    for (int i = 0; i < 3; ++i) j["rotation"].push_back({r(i, 0), r(i, 1), r(i, 2)});
    const Vector3d t = photo.camera_T_bowl.translation();
    j["translation"] = {t.x(), t.y(), t.z()};
    j.update(write_lens_numbers(photo.lens));
    photos.push_back(j);
  }
  return Json{{"photos", photos}}.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string write_scan(const Scan& scan) {
  Json root;
  root["format"] = "interstice-scan";
  root["version"] = 1;
  root["photos"] = Json::array();
  for (const ScannedPhoto& photo : scan.photos) {
    Json covariance = Json::array();
    for (int i = 0; i < 7; ++i) {
      for (int j = 0; j <= i; ++j) covariance.push_back(photo.covariance(i, j));
    }
    root["photos"].push_back(
        {{"name", photo.info.name},
         {"file", std::filesystem::absolute(photo.info.path).lexically_normal().string()},
         {"width", photo.lens.width},
         {"height", photo.lens.height},
         {"covariance", covariance}});
  }
  root["left_out"] = Json::array();
  for (const LeftOut& out : scan.left_out)
    root["left_out"].push_back({{"photo", out.photo}, {"reason", out.reason}});
  root["quality"] = write_quality(scan.quality);
  root["points"] = Json::array();
  for (const Vector3d& p : scan.points) root["points"].push_back({p.x(), p.y(), p.z()});
  return root.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

namespace {

camera::PhotoInfo photo_now(const core::JsonNode& node, const PhotoPlace& place) {
  const std::filesystem::path was = node.at("file").text(4096);
  const int w = node.at("width").integer(1, 100000), h = node.at("height").integer(1, 100000);
  camera::PhotoInfo info;
  std::error_code ignored;
  const std::filesystem::path moved = place.folder / was.filename();
  const bool there = !place.folder.empty() && std::filesystem::exists(moved, ignored);
  try {
    info = camera::read_photo_info(there ? moved : was);
  } catch (const core::InputError&) {
    if (!place.may_be_gone) throw;
    info.width = w, info.height = h;
  }
  info.name = node.at("name").text(4096);
  if (info.width != w || info.height != h) node.fail("the photo has changed since the scan");
  return info;
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
  Scan scan;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const core::JsonNode node = photos.at(i);
    ScannedPhoto photo;
    photo.info = photo_now(node, place);
    if (cameras.at(i).at("name").text(4096) != photo.info.name)
      cameras.at(i).fail("does not match scan.json");
    photo.camera_T_bowl = read_pose(cameras.at(i));
    photo.lens = read_lens_numbers(cameras.at(i), photo.info.width, photo.info.height);
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
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::vector<double> p = points.at(i).numbers(3);
    scan.points.emplace_back(p[0], p[1], p[2]);
  }
  return scan;
}

}  // namespace interstice::scan
