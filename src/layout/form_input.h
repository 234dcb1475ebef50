// The form's outside as a profile, from what a maker has: a table, a drawing, or a measured document.
//
// Tables and CSV: two numbers a line, r and z or diameter and z, mm unless said otherwise; headings and decimal
// commas: layout/form_table.h. SVG: paths, polylines and lines; DXF: lines, polylines, arcs, ellipses and
// splines, also in blocks; in any order and sense, joined at their ends to one line. Drawings show half the
// profile; their pole is the end where the line runs level. JSON: "profile" (a plan) or "form_profile" (a
// measured fit), [[r, z], ...].
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "geometry/profile.h"

namespace interstice::layout {

struct ProfileReading {
  std::optional<double> unit_mm;  // of tables that name none, and of such drawings; left out: mm
  bool diameters = false;         // the first column holds diameters
};

struct FormInput {
  geometry::Profile profile;
  std::vector<std::string> notes;  // what was assumed or turned round, one line each
};

// Throws InputError naming file, place and fault: unreadable numbers, too few points, a profile that crosses
// itself or does not reach the pole, a size that suggests wrong units.
FormInput read_form(const std::filesystem::path& path, const ProfileReading& reading = {});

// The half profile as points in drawing order, with the file's unit applied where it names one.
struct DrawnProfile {
  std::vector<Eigen::Vector2d> points;  // y up
  std::optional<double> unit_mm;
};
DrawnProfile read_svg_profile(const std::string& text, const std::string& file);
DrawnProfile read_dxf_profile(const std::filesystem::path& path);

// From raw points to a valid profile: ends told apart, rim put on z = 0, pole on r = 0. `places` names each
// point
// ("line 12") for messages. from_drawing: r has no fixed zero, the axis goes through the pole's end.
FormInput profile_from_points(std::vector<Eigen::Vector2d> points, const std::vector<std::string>& places,
                              const std::string& file, bool from_drawing);

}  // namespace interstice::layout
