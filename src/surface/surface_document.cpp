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

// A picture with a pixel for each of the grid's cells, of this type. `is_not`: what it should have been.
cv::Mat read_picture(const fs::path& path, const MapGrid& grid, cv::ImreadModes mode, int type,
                     const std::string& is_not) {
  const camera::PhotoInfo told = camera::read_photo_info(path);  // before memory is asked for
  if (told.width != grid.side() || told.height != grid.side()) throw core::InputError(path.string(), is_not);
  const std::string bytes = core::read_file(path);
  const cv::Mat data(1, static_cast<int>(bytes.size()), CV_8U, const_cast<char*>(bytes.data()));
  cv::Mat picture;
  try {
    picture = cv::imdecode(data, mode);
  } catch (const cv::Exception&) {
  }
  if (picture.type() != type || picture.rows != grid.side() || picture.cols != grid.side())
    throw core::InputError(path.string(), is_not);
  return picture;
}

cv::Mat read_grid(const fs::path& path, const MapGrid& grid) {
  return read_picture(path, grid, cv::IMREAD_UNCHANGED, CV_32F,
                      "is not the grid that surface.json describes; scan again");
}

MapGrid read_ortho_grid(const core::JsonNode& surface) {
  return {surface.at("ortho_step_mm").number(0.01, 100), surface.at("ortho_centre").integer(1, 20000)};
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
  surface.ortho_grid = read_ortho_grid(root);
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

cv::Mat read_ortho(const fs::path& folder, const MapGrid& grid) {
  return read_picture(folder / "ortho.png", grid, cv::IMREAD_COLOR, CV_8UC3,
                      "is not the picture that surface.json describes; scan again");
}

std::optional<MapPicture> find_ortho(const fs::path& folder) {
  try {
    const std::string file = (folder / "surface.json").string();
    const nlohmann::json document = core::read_json(file);
    const MapGrid grid = read_ortho_grid(core::JsonNode(document, file));
    return MapPicture{grid, read_ortho(folder, grid)};
  } catch (const core::InputError&) {
    return std::nullopt;
  }
}

}  // namespace interstice::surface
