// What the maker planned: the form, the stock and the pieces' footprints. Read from plan.json.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "geometry/index.h"
#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice::plan {

struct PlannedTile {
  std::string label;
  int ring = 1;               // ring 1 stands on the rim
  geometry::Polygon outline;  // footprint on the form, on the map, counter-clockwise, mm
};

// What turning leaves of the stock's thickness, mm below the outer face.
struct FinishedWall {
  double from_mm = 0, to_mm = 0;
};

// How the backs of the pieces meet the form: as sawn (flat: on a round form the edges hover over it), shaped
// to it, or hollowed out by more than its curve.
enum class Back { flat, fitted, hollowed };
const char* name_of(Back back);  // "flat" | "fitted" | "hollowed"

struct Plan {
  std::string name;
  geometry::Profile profile;     // outside of the form
  double tile_thickness_mm = 0;  // of the stock
  double bevel_deg = 0;          // of the walls: the face is larger than the root by thickness x tan(bevel)
  double smallest_fill_mm = 3.0;
  double planned_gap_mm = 0;
  std::optional<FinishedWall> finished_wall;  // empty: the whole thickness
  Back back = Back::flat;
  geometry::IndexedVector<geometry::TileIndex, PlannedTile> tiles;
};

// Reads and validates a plan: units, profile from pole to rim, outlines simple and counter-clockwise
// (clockwise ones are turned round), labels unique and printable. Throws InputError naming file, place and
// fault.
Plan read_plan(const std::filesystem::path& path);
Plan parse_plan(const std::string& json_text, const std::string& file);

// Whether a finished wall fits the stock: what is wrong with it, or nothing.
std::optional<std::string> fault_of(const FinishedWall& wall, double tile_thickness_mm);

// The document of a plan, as read_plan takes it.
std::string write_plan(const Plan& plan);

}  // namespace interstice::plan
