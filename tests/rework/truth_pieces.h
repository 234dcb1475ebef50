// Built pieces and true seams of a test scan, for tests only. Scans lie in datasets/ (those that ship with
// the project) or, in a development tree, in ../shared/scans beside it; tests skip scans that are in neither
// place.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/json_reader.h"
#include "plan/plan.h"
#include "solid/mouth.h"

namespace interstice::testing {

struct TrueSeam {
  std::string a, b;
  double mouth_mm, throat_mm, root_mm, length_mm, tight_length_mm;
};

struct TrueShell {
  plan::Plan plan;
  std::vector<std::string> labels;  // in the plan's order
  geometry::IndexedVector<geometry::TileIndex, std::optional<solid::PieceSolid>> pieces;  // absent ones empty
  std::vector<TrueSeam> seams;

  geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> bodies() const {
    geometry::IndexedVector<geometry::TileIndex, solid::SolidBody> out(pieces.size());
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      if (pieces[geometry::TileIndex(i)])
        out[geometry::TileIndex(i)] = solid::SolidBody(*pieces[geometry::TileIndex(i)]);
    }
    return out;
  }
};

inline std::optional<std::filesystem::path> scan_folder(const std::string& name) {
  const std::filesystem::path source = INTERSTICE_SOURCE_DIR;
  for (const auto& base : {source / "datasets" / name, source / ".." / "shared" / "scans" / name}) {
    if (std::filesystem::exists(base / "truth.json") && std::filesystem::exists(base / "plan.json"))
      return base;
  }
  return std::nullopt;
}

// Faces and walls of the built pieces: the arris as built, the root from the bevel as built on the drawn
// form.
inline TrueShell read_true_shell(const std::filesystem::path& folder) {
  TrueShell shell;
  shell.plan = plan::read_plan(folder / "plan.json");
  const std::string file = (folder / "truth.json").string();
  const nlohmann::json document = core::read_json(file);
  const core::JsonNode root(document, file);
  const core::JsonNode tiles = root.at("tiles");
  for (std::size_t i = 0; i < tiles.size(); ++i) {
    const core::JsonNode tile = tiles.at(i);
    shell.labels.push_back(tile.at("label").text());
    if (!tile.at("placed").boolean()) {
      shell.pieces.push_back(std::nullopt);
      continue;
    }
    solid::PieceSolid piece;
    const core::JsonNode outer = tile.at("outer");
    for (std::size_t k = 0; k < outer.size(); ++k) {
      const std::vector<double> x = outer.at(k).numbers(3);
      piece.arris.emplace_back(x[0], x[1], x[2]);
    }
    const std::vector<double> n = tile.at("normal").numbers(3);
    Eigen::Vector3d middle = Eigen::Vector3d::Zero();
    for (const Eigen::Vector3d& p : piece.arris) middle += p / static_cast<double>(piece.arris.size());
    const Eigen::Vector3d normal = Eigen::Vector3d(n[0], n[1], n[2]).normalized();
    const Eigen::Vector2d uv = shell.plan.profile.locate(middle).uv;
    piece.face = geometry::make_plane_frame(middle, normal, shell.plan.profile.along_ring(uv));
    const solid::Walls walls{.bevel_deg = tile.at("built_bevel_deg").number(),
                             .thickness_mm = shell.plan.tile_thickness_mm};
    piece.root = solid::root_from_bevel(piece.face, piece.arris, walls, shell.plan.profile);
    shell.pieces.push_back(std::move(piece));
  }
  const core::JsonNode seams = root.at("seams");
  for (std::size_t i = 0; i < seams.size(); ++i) {
    const core::JsonNode s = seams.at(i);
    shell.seams.push_back({s.at("tiles").at(std::size_t{0}).text(), s.at("tiles").at(std::size_t{1}).text(),
                           s.at("mouth_mm").number(), s.at("clearance_mm").number(), s.at("root_mm").number(),
                           s.at("length_mm").number(), s.at("tight_length_mm").number()});
  }
  return shell;
}

}  // namespace interstice::testing
