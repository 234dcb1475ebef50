#include "app/plan_text.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <nlohmann/json.hpp>

#include "app/console.h"
#include "core/counted.h"
#include "geometry/form_surface.h"
#include "layout/cell_complex.h"
#include "solid/piece_body.h"

namespace interstice::app {
namespace {

using Json = nlohmann::ordered_json;

double rounded(double x, double step = 1e-3) {
  return std::round(x / step) * step;
}

int rings_of(const plan::Plan& plan) {
  int rings = 0;
  for (const plan::PlannedTile& tile : plan.tiles) rings = std::max(rings, tile.ring);
  return rings;
}

// What turning the shell round leaves of the stock.
void print_turning(const plan::Plan& plan, const layout::TurnedWall& turned) {
  const std::string whose =
      turned.inside_loss_mm < 0.05 ? "" : " (" + plan.tiles[turned.most_inside].label + "'s corners)";
  std::printf(
      "turning: true to the form, a face loses up to %.1f mm outside (its corners) and a back up to %.1f mm "
      "inside%s; %.1f mm of the %.1f mm stock are left at the thinnest place\n",
      turned.outside_loss_mm, turned.inside_loss_mm, whose.c_str(), std::max(0.0, turned.wall_mm),
      plan.tile_thickness_mm);
}

}  // namespace

std::string form_document(const geometry::Profile& profile, const std::string& name) {
  Json root;
  root["name"] = name;
  root["units"] = "mm";
  root["profile"] = Json::array();
  for (const Eigen::Vector2d& p : profile.points()) {
    root["profile"].push_back({std::round(p.x() * 1e4) / 1e4, std::round(p.y() * 1e4) / 1e4});
  }
  return root.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

void print_form(const layout::FormInput& form, const std::string& out, const CommonOptions& common) {
  double across = 0, height = 0;
  for (const Eigen::Vector2d& p : form.profile.points()) {
    across = std::max(across, 2 * p.x()), height = std::max(height, p.y());
  }
  const double rim = 2 * form.profile.points().back().x(), area = geometry::surface_area(form.profile) * 1e-2;
  if (common.json) {
    Json doc{{"points", form.profile.points().size()},
             {"across_mm", rounded(across)},
             {"rim_mm", rounded(rim)},
             {"height_mm", rounded(height)},
             {"meridian_mm", rounded(form.profile.length())},
             {"area_cm2", rounded(area, 0.1)},
             {"notes", form.notes}};
    if (!out.empty()) doc["written"] = out;
    print_json(doc);
    return;
  }
  if (common.quiet) return;
  for (const std::string& note : form.notes) std::printf("note: %s\n", note.c_str());
  std::printf("form: %.1f mm across, rim %.1f mm, %.1f mm high, %.1f mm from pole to rim, %.0f square cm\n",
              across, rim, height, form.profile.length(), area);
  if (!out.empty()) std::printf("written: %s\n", out.c_str());
}

void print_layout(const layout::Layout& layout, const layout::FormInput& form,
                  const layout::LayoutOptions& options, const std::string& out, const CommonOptions& common) {
  const plan::Plan& plan = layout.plan;
  if (common.json) {
    print_json({{"written", out},
                {"pieces", plan.tiles.size()},
                {"rings", rings_of(plan)},
                {"gap_mm", plan.planned_gap_mm},
                {"bevel_deg", plan.bevel_deg},
                {"largest_gap_error_mm", rounded(layout.solved.worst_error_mm)},
                {"notes", form.notes}});
    return;
  }
  if (common.quiet) return;
  for (const std::string& note : form.notes) std::printf("note: %s\n", note.c_str());
  if (options.gap_mm < 0) {
    std::printf(
        "gap: %.1f mm = smallest fill %.1f mm and an allowance for cutting (sd %.2f mm an edge) and gluing "
        "(sd %.2f mm a piece)\n",
        plan.planned_gap_mm, plan.smallest_fill_mm, options.spread.cut_mm, options.spread.glue_mm);
  }
  std::printf("%s in %s, gap %.2f mm (every mouth within %.2f mm), bevel %.1f degrees\n",
              core::counted(plan.tiles.size(), "piece").c_str(),
              core::counted(rings_of(plan), "ring").c_str(), plan.planned_gap_mm,
              std::max(0.01, layout.solved.worst_error_mm), plan.bevel_deg);
  if (layout.solved.worst_error_mm > layout::kTrueToGap_mm) {
    std::printf(
        "note: not every mouth could be made equal to the gap, because neighbouring faces meet at different "
        "heights; smaller pieces, thinner stock or another --seed come nearer\n");
  }
  std::printf("written: %s; look at it with: interstice plan check, plan draw\n", out.c_str());
}

namespace {

void print_traced(const layout::TraceResult& result, const std::vector<std::string>& notes,
                  const std::string& out, const char* own_lines, const char* then,
                  const CommonOptions& common) {
  const plan::Plan& plan = result.plan;
  if (common.json) {
    print_json({{"written", out},
                {"pieces", plan.tiles.size()},
                {"rings", rings_of(plan)},
                {"lines", result.shared_lines ? "shared" : "own"},
                {"gap_mm", rounded(plan.planned_gap_mm)},
                {"form_notes", notes},
                {"left_out", result.left_out},
                {"look_again", result.look_again}});
    return;
  }
  if (common.quiet) return;
  for (const std::string& note : notes) std::printf("form: %s\n", note.c_str());
  std::printf("%s in %s; %s; gap %.2f mm\n", core::counted(plan.tiles.size(), "piece").c_str(),
              core::counted(rings_of(plan), "ring").c_str(),
              result.shared_lines ? "one line between two pieces, the gap taken out of it" : own_lines,
              plan.planned_gap_mm);
  for (const std::string& line : result.left_out) std::printf("left out, %s\n", line.c_str());
  for (const std::string& line : result.look_again) std::printf("look again: %s\n", line.c_str());
  std::printf("written: %s%s\n", out.c_str(), then);
}

}  // namespace

void print_trace(const layout::TraceResult& result, const std::vector<std::string>& notes,
                 const std::string& out, const CommonOptions& common) {
  print_traced(result, notes, out, "each piece has its own line",
               "; labels are proposals, rename them with --labels", common);
}

void print_papers(const layout::TraceResult& result, const std::vector<std::string>& notes,
                  const std::string& out, const CommonOptions& common) {
  print_traced(result, notes, out, "each paper is its piece", "", common);
}

void print_patterns(const plan::Plan& plan, const std::vector<solid::PieceGeometry>& pieces,
                    std::size_t sheets, const std::vector<std::string>& written,
                    const CommonOptions& common) {
  double least = 0, most = 0, mean = 0;
  for (const solid::PieceGeometry& piece : pieces) {
    least = &piece == &pieces[0] ? piece.enlargement_percent : std::min(least, piece.enlargement_percent);
    most = &piece == &pieces[0] ? piece.enlargement_percent : std::max(most, piece.enlargement_percent);
    mean += piece.enlargement_percent / static_cast<double>(pieces.size());
  }
  if (common.json) {
    Json list = Json::array();
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      Json edges = Json::array();
      for (const solid::PieceEdge& edge : pieces[i].edges) {
        const std::string name = edge.faces == solid::EdgeFaces::piece ? plan.tiles[edge.neighbour].label
                                 : edge.faces == solid::EdgeFaces::rim ? "rim"
                                                                       : "open";
        edges.push_back({{"faces", name},
                         {"bevel_deg", rounded(edge.bevel_deg, 0.01)},
                         {"length_mm", rounded(edge.length_mm, 0.1)}});
      }
      list.push_back({{"label", plan.tiles[geometry::TileIndex(i)].label},
                      {"bevel_deg", pieces[i].recommended_bevel_deg},
                      {"enlargement_percent", rounded(pieces[i].enlargement_percent, 0.01)},
                      {"edges", edges}});
    }
    print_json({{"written", written}, {"sheets", sheets}, {"pieces", list}});
    return;
  }
  if (common.quiet) return;
  std::printf("%s on %s; faces are %.1f to %.1f %% larger than drawn on the form (mean %.1f %%)\n",
              core::counted(pieces.size(), "piece").c_str(), core::counted(sheets, "sheet").c_str(), least,
              most, mean);
  print_written(written, common);
  for (const std::string& line : sheets::cutting_cautions()) std::printf("%s\n", line.c_str());
}

void print_check(const plan::Plan& plan, const layout::PlanCheck& check, const layout::CheckLimits& limits,
                 const CommonOptions& common) {
  if (common.json) {
    Json findings = Json::array();
    for (const layout::CheckFinding& f : check.findings)
      findings.push_back({{"kind", layout::name_of(f.kind)}, {"text", f.text}});
    print_json({{"pieces", plan.tiles.size()},
                {"seams", check.seams.size()},
                {"narrowest_mouth_mm", rounded(check.narrowest_mouth_mm)},
                {"widest_mouth_mm", rounded(check.widest_mouth_mm)},
                {"mean_face_cm2", rounded(check.mean_face_mm2 / 100)},
                {"face_spread", rounded(check.face_spread, 1e-4)},
                {"footprint_spread", rounded(check.footprint_spread, 1e-4)},
                {"seam_volume_ml", rounded(check.seam_volume_ml, 0.1)},
                {"bed_volume_ml", rounded(check.bed_volume_ml, 0.1)},
                {"level_run_pieces", rounded(check.level_run_pieces)},
                {"boards", check.boards},
                {"board_area_m2", rounded(check.board_area_m2, 1e-4)},
                {"piece_area_m2", rounded(check.piece_area_m2, 1e-4)},
                {"waste_share", rounded(check.waste_share)},
                {"board_feet", rounded(check.board_feet)},
                {"turned_outside_loss_mm", rounded(check.turned.outside_loss_mm)},
                {"turned_inside_loss_mm", rounded(check.turned.inside_loss_mm)},
                {"turned_wall_mm", rounded(check.turned.wall_mm)},
                {"findings", findings}});
    return;
  }
  if (common.quiet) return;
  std::map<layout::CheckFinding::Kind, int> shown;
  constexpr int kMost = 6;  // of a kind
  for (const layout::CheckFinding& f : check.findings) {
    if (++shown[f.kind] <= kMost) std::printf("%s: %s\n", layout::name_of(f.kind), f.text.c_str());
  }
  for (const auto& [kind, count] : shown) {
    if (count > kMost)
      std::printf("%s: %d more like these (all with --json)\n", layout::name_of(kind), count - kMost);
  }
  std::printf("%s, %s, mouths %.2f to %.2f mm (smallest fill %.2f mm)\n",
              core::counted(plan.tiles.size(), "piece").c_str(),
              core::counted(check.seams.size(), "seam").c_str(), check.narrowest_mouth_mm,
              check.widest_mouth_mm, plan.smallest_fill_mm);
  std::printf("faces %.1f square cm on average, spread %.1f %% (drawn shapes %.1f %%)\n",
              check.mean_face_mm2 / 100, 100 * check.face_spread, 100 * check.footprint_spread);
  std::printf(
      "resin: about %.0f ml between the walls and up to %.0f ml under flat backs (before the shell is "
      "turned)\n",
      check.seam_volume_ml, check.bed_volume_ml);
  std::printf(
      "stock: %s of %.0f x %.0f x %.0f mm = %.3f square m = %.2f board feet; pieces %.3f square m, "
      "waste %.0f %%\n",
      core::counted(check.boards, "board").c_str(), limits.board_length_mm, limits.board_width_mm,
      plan.tile_thickness_mm, check.board_area_m2, check.board_feet, check.piece_area_m2,
      100 * check.waste_share);
  print_turning(plan, check.turned);
  std::printf("%s\n", check.findings.empty() ? "nothing to change"
                                             : "change what is listed above, or accept it knowingly");
}

void print_written(const std::vector<std::string>& written, const CommonOptions& common) {
  if (common.json) {
    print_json({{"written", written}});
    return;
  }
  if (common.quiet) return;
  for (const std::string& path : written) std::printf("written: %s\n", path.c_str());
}

}  // namespace interstice::app
