#include "surface/surface_document.h"

#include <numbers>
#include <opencv2/imgcodecs.hpp>

#include "camera/photo.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::surface {

using Json = nlohmann::ordered_json;
namespace fs = std::filesystem;

namespace {

void write_picture(const fs::path& path, const cv::Mat& picture, const std::string& extension) {
  std::vector<uchar> bytes;
  if (!cv::imencode(extension, picture, bytes)) throw core::InputError(path.string(), "cannot be encoded");
  core::write_new_file(path, {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
}

cv::Mat read_grid(const fs::path& path, const MapGrid& grid) {
  const camera::PhotoInfo told = camera::read_photo_info(path);  // before memory is asked for
  if (told.width != grid.side() || told.height != grid.side()) {
    throw core::InputError(path.string(), "is not the grid that surface.json describes; scan again");
  }
  const std::string bytes = core::read_file(path);
  const cv::Mat data(1, static_cast<int>(bytes.size()), CV_8U, const_cast<char*>(bytes.data()));
  cv::Mat picture;
  try {
    picture = cv::imdecode(data, cv::IMREAD_UNCHANGED);
  } catch (const cv::Exception&) {
  }
  if (picture.type() != CV_32F || picture.rows != grid.side() || picture.cols != grid.side()) {
    throw core::InputError(path.string(), "is not the grid that surface.json describes; scan again");
  }
  return picture;
}

}  // namespace

void write_surface(const Surface& surface, const fs::path& folder) {
  Json root;
  root["format"] = "interstice-surface";
  root["version"] = 1;
  root["turn_deg"] = surface.turn.angle * 180 / std::numbers::pi;
  root["explained"] = surface.turn.explained;
  root["clearance"] = surface.turn.clearance;
  root["grid_step_mm"] = surface.heights.grid.step_mm;
  root["grid_centre"] = surface.heights.grid.centre;
  root["ortho_step_mm"] = surface.ortho_grid.step_mm;
  root["ortho_centre"] = surface.ortho_grid.centre;
  root["form_profile"] = Json::array();
  for (const Eigen::Vector2d& p : surface.form.points()) root["form_profile"].push_back({p.x(), p.y()});
  core::write_new_file(folder / "surface.json", root.dump(1) + "\n");
  write_picture(folder / "heights.tif", surface.heights.height, ".tif");
  write_picture(folder / "agreement.tif", surface.heights.agreement, ".tif");
  write_picture(folder / "ortho.png", surface.ortho, ".png");
}

Surface read_surface(const fs::path& folder) {
  const std::string file = (folder / "surface.json").string();
  const nlohmann::json document = core::read_json(file);
  const core::JsonNode root(document, file);
  if (root.at("format").text() != "interstice-surface") root.at("format").fail("this is not a surface file");
  if (root.at("version").number() != 1) root.at("version").fail("only version 1 is understood");
  Surface surface;
  surface.turn = {root.at("turn_deg").number(-1e4, 1e4) * std::numbers::pi / 180,
                  root.at("explained").number(), root.at("clearance").number()};
  surface.heights.grid = {root.at("grid_step_mm").number(0.01, 100),
                          root.at("grid_centre").integer(1, 20000)};
  surface.ortho_grid = {root.at("ortho_step_mm").number(0.01, 100),
                        root.at("ortho_centre").integer(1, 20000)};
  std::vector<Eigen::Vector2d> profile;
  const core::JsonNode points = root.at("form_profile");
  if (points.size() > 5000) points.fail("has more than 5000 points");  // as a plan's profile
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::vector<double> rz = points.at(i).numbers(2);
    profile.emplace_back(rz[0], rz[1]);
  }
  try {
    surface.form = geometry::Profile(std::move(profile));
  } catch (const std::invalid_argument& e) {
    points.fail(e.what());
  }
  surface.heights.height = read_grid(folder / "heights.tif", surface.heights.grid);
  surface.heights.agreement = read_grid(folder / "agreement.tif", surface.heights.grid);
  return surface;
}

std::optional<OrthoPicture> read_ortho(const fs::path& folder) {
  OrthoPicture out;
  try {
    const std::string file = (folder / "surface.json").string();
    const nlohmann::json document = core::read_json(file);
    const core::JsonNode root(document, file);
    out.grid = {root.at("ortho_step_mm").number(0.01, 100), root.at("ortho_centre").integer(1, 20000)};
    const std::string bytes = core::read_file(folder / "ortho.png");
    const cv::Mat data(1, static_cast<int>(bytes.size()), CV_8U, const_cast<char*>(bytes.data()));
    out.colour = cv::imdecode(data, cv::IMREAD_COLOR);
  } catch (const core::InputError&) {
    return std::nullopt;
  } catch (const cv::Exception&) {
    return std::nullopt;
  }
  if (out.colour.rows != out.grid.side() || out.colour.cols != out.grid.side()) return std::nullopt;
  return out;
}

}  // namespace interstice::surface
