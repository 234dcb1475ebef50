// What was measured, as a value and as fit.json. Everything after the fit stage knows the bowl through this.
// Bowl frame, mm, degrees; widths are 3-D distances.
#pragma once

#include <Eigen/Core>
#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/verdict.h"
#include "geometry/plane.h"
#include "plan/plan.h"
#include "plan/tile_state.h"

namespace interstice::seams {

using core::Doubt;
using core::name_of;
using core::Verdict;
enum class ThroatFrom { walls, bevel };

// One wall of a piece: where its outline faces one neighbour, or none.
struct FitWall {
  std::string facing;     // label; empty: none
  double bevel_deg = 0;   // the wall recedes by its tangent below the arris
  double sd_deg = 0;      // standard uncertainty
  bool measured = false;  // in the photos; else the plan's bevel counts as much or more
};

struct FitTile {
  std::string label;
  int ring = 1;
  plan::TileState state = plan::TileState::unseen;
  Eigen::Vector2d moved_mm{0, 0};  // against the plan: along the ring (counter-clockwise), towards the pole
  double turned_deg = 0;           // counter-clockwise seen from outside
  // For placed pieces; empty otherwise:
  geometry::PlaneFrame face;           // measured face; ex along the ring, ey towards the pole
  double height_mm = 0;                // of the face's centre above the form
  double face_above_arris_mm = 0;      // the outer face over `face`, the plane of the widest outline
  std::vector<Eigen::Vector3d> arris;  // closed outline of the face, counter-clockwise seen from outside
  std::vector<double> arris_sd_mm;     // standard uncertainty of each point across the outline; negative:
                                       // not seen, the point lies where its neighbours put it
  std::vector<Eigen::Vector3d> root;   // the same outline where the walls meet the form, point for point
  std::vector<FitWall> walls;          // going round; empty in documents of before walls were measured
};

// The seam along its length, at steps of about half a millimetre.
struct SeamSample {
  double s_mm = 0;       // along the seam from its start
  double width_mm = 0;   // mouth here
  double sd_mm = 0;      // standard uncertainty; negative: not seen
  Eigen::Vector3d a, b;  // the two ends of the width: on tiles[0]'s and tiles[1]'s arris (or body)
  // Narrowest below this place within the finished wall; empty: not known, or wider than any seam.
  std::optional<core::Width> throat = std::nullopt;
};

struct FitSeam {
  std::array<std::string, 2> tiles;  // in the plan's order
  Verdict verdict = Verdict::unseen;
  std::optional<double> narrowest_mm, u95_mm;
  Eigen::Vector3d at{0, 0, 0};  // middle of the narrowest place
  Eigen::Vector2d map{0, 0};    // the same on the map
  double length_mm = 0;         // over which the mouth is at most 8 mm
  double tight_length_mm = 0;   // over which it is below the smallest fill
  // The narrowest within the finished wall, where it is no wider than a seam.
  std::optional<double> throat_mm, throat_u95_mm;
  ThroatFrom throat_from = ThroatFrom::bevel;
  Eigen::Vector3d throat_at{0, 0, 0};     // its middle
  core::Doubt doubt = core::Doubt::none;  // which of the two a doubtful seam is doubtful for
  double pinched_length_mm = 0;  // over which the throat is below the smallest fill and the mouth is not
  std::vector<SeamSample> samples;
  std::string best_photo;           // shows the narrowest place best; empty if none
  std::vector<std::string> advice;  // where to photograph again, for unseen and doubtful seams
};

// The seam's two widths as the verdict takes them; of a seam that was seen.
core::Width mouth_of(const FitSeam& seam);
std::optional<core::Width> throat_of(const FitSeam& seam);
// The throat where the verdict rests on it (pinched, or doubtful for it); empty: on the mouth.
std::optional<core::Width> deciding_throat(const FitSeam& seam);
// Verdict and doubt from the stated widths; an unseen seam stays so.
void judge_again(FitSeam& seam, double smallest_fill_mm);

// One step of the work order.
struct Correction {
  enum class Action { move, sand, ease } action = Action::move;
  std::string tile;
  double along_mm = 0, towards_pole_mm = 0,
         turn_deg = 0;                   // move: in the surface, turn about the face's centroid
  std::string facing;                    // sand, ease: the neighbour the edge faces
  Eigen::Vector2d from{0, 0}, to{0, 0};  // sand, ease: stretch on the map
  double depth_mm = 0, length_mm = 0;    // sand (depth), ease
  struct Freed {
    std::array<std::string, 2> tiles;
    double width_after_mm = 0;                             // mouth
    std::optional<double> throat_after_mm = std::nullopt;  // where it is narrower
  };
  std::vector<Freed> frees;
  double angle_deg = 0;  // more bevel; ease: the arris where it is; sand: at the same setting
  // sand, ease: how far from that end of the edge the stretch begins; a label, or words; empty: not known
  double begin_mm = 0;
  std::string begin_at = {};
};

struct FitQuality {
  int photos_given = 0, photos_used = 0;
  double reprojection_rms_px = 0, pixel_footprint_mm = 0, scale_u95_percent = 0;
  std::optional<double> length_error_mm;  // largest error of card lengths not used for scale
  struct LeftOut {
    std::string photo, reason;
  };
  std::vector<LeftOut> left_out;
  bool check_line_given = false;
};

struct FitDocument {
  std::string name;
  double smallest_fill_mm = 3.0;
  std::optional<plan::FinishedWall> finished_wall;  // the verdicts are on; empty: the whole thickness
  std::vector<Eigen::Vector2d> form_profile;        // (r, z) of the form as measured, pole to rim
  std::vector<FitTile> tiles;                       // one a planned tile, in the plan's order
  std::vector<FitSeam> seams;                       // sorted by tile labels in the plan's order
  std::vector<Correction> corrections;
  std::vector<std::string> corrections_refused;  // "no move frees B07; ..." one line each
  std::vector<std::string> warnings;  // what must be known before a label or a width is believed, a line each
  FitQuality quality;
};

const char* name_of(ThroatFrom from);  // "walls" | "bevel"

// fit.json. Reading throws InputError naming file, place and fault; numbers are rounded to 1e-4 on writing,
// so that writing what was read gives the same bytes.
std::string write_fit(const FitDocument& fit);
FitDocument read_fit(const std::filesystem::path& path);
FitDocument parse_fit(const std::string& json_text, const std::string& file);

}  // namespace interstice::seams
