#include "seams/fit_document.h"

#include <cmath>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "seams/fit_json.h"

namespace interstice::seams {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using fit_json::Json;
using fit_json::list;
using fit_json::one_of;
using fit_json::read_optional;
using fit_json::read_pair_of_labels;
using fit_json::read_vector;
using fit_json::rounded;

constexpr std::array kStates{"placed", "absent", "unseen"};
constexpr std::array kVerdicts{name_of(Verdict::too_tight), name_of(Verdict::pinched),
                               name_of(Verdict::doubtful), name_of(Verdict::clear), name_of(Verdict::unseen)};
constexpr std::array kThroats{"walls", "bevel"};
constexpr std::array kDoubts{name_of(Doubt::none), name_of(Doubt::mouth), name_of(Doubt::throat)};
constexpr std::size_t kMaxTiles = 4000,
                      kMaxSeams = 50000;  // a plan has at most as many pieces; few have 12 neighbours

// Unit vectors need more digits than positions.
double rounded_direction(double x) {
  const double r = std::round(x * 1e8) / 1e8;
  return r == 0 ? 0.0 : r;
}

template <class V>
Json lists(const std::vector<V>& points) {
  Json out = Json::array();
  for (const V& p : points) out.push_back(list(p));
  return out;
}

Json optional_number(const std::optional<double>& x) {
  return x ? Json(rounded(*x)) : Json(nullptr);
}

Json write_walls(const std::vector<FitWall>& walls) {
  Json out = Json::array();
  for (const FitWall& w : walls) {
    out.push_back({{"facing", w.facing.empty() ? Json(nullptr) : Json(w.facing)},
                   {"bevel_deg", rounded(w.bevel_deg)},
                   {"sd_deg", rounded(w.sd_deg)},
                   {"measured", w.measured}});
  }
  return out;
}

Json write_tile(const FitTile& t) {
  Json j;
  j["label"] = t.label;
  j["ring"] = t.ring;
  j["state"] = name_of(t.state);
  if (t.state != plan::TileState::placed) return j;
  j["moved_mm"] = list(t.moved_mm);
  j["turned_deg"] = rounded(t.turned_deg);
  j["height_mm"] = rounded(t.height_mm);
  j["face_above_arris_mm"] = rounded(t.face_above_arris_mm);
  j["face"] = {{"origin", list(t.face.origin)},
               {"ex", list(t.face.ex, rounded_direction)},
               {"ey", list(t.face.ey, rounded_direction)},
               {"normal", list(t.face.normal, rounded_direction)}};
  j["arris"] = lists(t.arris);
  Json sd = Json::array();
  for (const double x : t.arris_sd_mm) sd.push_back(rounded(x));
  j["arris_sd_mm"] = sd;
  if (t.root.size() == t.arris.size()) j["root"] = lists(t.root);  // none was given: none is written
  j["walls"] = write_walls(t.walls);
  return j;
}

Json write_seam(const FitSeam& s) {
  Json j;
  j["tiles"] = {s.tiles[0], s.tiles[1]};
  j["narrowest_mm"] = optional_number(s.narrowest_mm);
  j["u95_mm"] = optional_number(s.u95_mm);
  j["map"] = list(s.map);
  j["at"] = list(s.at);
  j["verdict"] = name_of(s.verdict);
  j["doubt"] = s.doubt == Doubt::none ? Json(nullptr) : Json(name_of(s.doubt));
  j["length_mm"] = rounded(s.length_mm);
  j["tight_length_mm"] = rounded(s.tight_length_mm);
  j["pinched_length_mm"] = rounded(s.pinched_length_mm);
  j["throat_mm"] = optional_number(s.throat_mm);
  j["throat_u95_mm"] = optional_number(s.throat_u95_mm);
  j["throat_from"] = name_of(s.throat_from);
  j["throat_at"] = s.throat_mm ? list(s.throat_at) : Json(nullptr);
  j["best_photo"] = s.best_photo;
  j["advice"] = s.advice;
  Json samples = Json::array();
  for (const SeamSample& p : s.samples) {
    samples.push_back({{"s", rounded(p.s_mm)},
                       {"width", rounded(p.width_mm)},
                       {"sd", rounded(p.sd_mm)},
                       {"a", list(p.a)},
                       {"b", list(p.b)}});
    if (!p.throat) continue;
    samples.back()["throat"] = rounded(p.throat->mm);
    samples.back()["throat_sd"] = rounded(p.throat->u_mm);
  }
  j["samples"] = samples;
  return j;
}

Json write_quality(const FitQuality& q) {
  Json j;
  j["photos_given"] = q.photos_given;
  j["photos_used"] = q.photos_used;
  j["reprojection_rms_px"] = rounded(q.reprojection_rms_px);
  j["pixel_footprint_mm"] = rounded(q.pixel_footprint_mm);
  j["scale_u95_percent"] = rounded(q.scale_u95_percent);
  j["check_line_given"] = q.check_line_given;
  j["length_error_mm"] = optional_number(q.length_error_mm);
  j["left_out"] = Json::array();
  for (const auto& out : q.left_out) j["left_out"].push_back({{"photo", out.photo}, {"reason", out.reason}});
  return j;
}

template <int N>
std::vector<Eigen::Matrix<double, N, 1>> read_vectors(const core::JsonNode& node) {
  std::vector<Eigen::Matrix<double, N, 1>> out;
  const std::size_t n = node.size();
  if (n > 100000) node.fail("has more than 100000 points");
  for (std::size_t i = 0; i < n; ++i) out.push_back(read_vector<N>(node.at(i)));
  return out;
}

std::vector<FitWall> read_walls(const core::JsonNode& node) {
  std::vector<FitWall> out;
  for (std::size_t i = 0; i < node.size(); ++i) {
    const core::JsonNode wall = node.at(i);
    FitWall w;
    if (!wall.at("facing").is_null()) w.facing = wall.at("facing").text();
    w.bevel_deg = wall.at("bevel_deg").number(-90, 90);
    w.sd_deg = wall.at("sd_deg").number(0, 90);
    w.measured = wall.at("measured").boolean();
    out.push_back(std::move(w));
  }
  return out;
}

FitTile read_tile(const core::JsonNode& node) {
  FitTile t;
  t.label = node.at("label").text();
  t.ring = node.has("ring") ? node.at("ring").integer(1, 1000) : 1;
  t.state = static_cast<plan::TileState>(one_of(node.at("state"), kStates));
  if (t.state != plan::TileState::placed) return t;
  if (node.has("moved_mm")) t.moved_mm = read_vector<2>(node.at("moved_mm"));
  if (node.has("turned_deg")) t.turned_deg = node.at("turned_deg").number(-360, 360);
  if (node.has("height_mm")) t.height_mm = node.at("height_mm").number(-1000, 1000);
  if (node.has("face_above_arris_mm")) t.face_above_arris_mm = node.at("face_above_arris_mm").number(0, 100);
  if (node.has("face")) {
    const core::JsonNode face = node.at("face");
    t.face.origin = read_vector<3>(face.at("origin"));
    t.face.ex = read_vector<3>(face.at("ex"));
    t.face.ey = read_vector<3>(face.at("ey"));
    t.face.normal = read_vector<3>(face.at("normal"));
  }
  if (node.has("arris")) {
    t.arris = read_vectors<3>(node.at("arris"));
    const core::JsonNode sd = node.at("arris_sd_mm");
    if (sd.size() != t.arris.size()) sd.fail("must have one entry a point of \"arris\"");
    for (std::size_t i = 0; i < sd.size(); ++i) t.arris_sd_mm.push_back(sd.at(i).number(-1000, 1000));
  }
  if (node.has("root")) {
    t.root = read_vectors<3>(node.at("root"));
    if (t.root.size() != t.arris.size()) node.at("root").fail("must have one entry a point of \"arris\"");
  }
  if (node.has("walls")) t.walls = read_walls(node.at("walls"));
  return t;
}

FitSeam read_seam(const core::JsonNode& node) {
  FitSeam s;
  s.tiles = read_pair_of_labels(node.at("tiles"));
  s.verdict = static_cast<Verdict>(one_of(node.at("verdict"), kVerdicts));
  s.narrowest_mm = read_optional(node, "narrowest_mm");
  s.u95_mm = read_optional(node, "u95_mm");
  if (s.verdict != Verdict::unseen && (!s.narrowest_mm || !s.u95_mm)) {
    node.fail("a seam that was seen needs narrowest_mm and u95_mm");
  }
  s.map = read_vector<2>(node.at("map"));
  if (node.has("at")) s.at = read_vector<3>(node.at("at"));
  s.length_mm = node.at("length_mm").number(0, 1e5);
  s.tight_length_mm = node.at("tight_length_mm").number(0, 1e5);
  s.throat_mm = read_optional(node, "throat_mm");
  s.throat_u95_mm = read_optional(node, "throat_u95_mm");
  if (s.throat_u95_mm && *s.throat_u95_mm < 0) node.at("throat_u95_mm").fail("must not be negative");
  if (node.has("pinched_length_mm")) s.pinched_length_mm = node.at("pinched_length_mm").number(0, 1e5);
  if (node.has("throat_at") && !node.at("throat_at").is_null())
    s.throat_at = read_vector<3>(node.at("throat_at"));
  if (node.has("doubt") && !node.at("doubt").is_null())
    s.doubt = static_cast<Doubt>(one_of(node.at("doubt"), kDoubts));
  if (node.has("throat_from"))
    s.throat_from = static_cast<ThroatFrom>(one_of(node.at("throat_from"), kThroats));
  if (node.has("best_photo")) s.best_photo = node.at("best_photo").text(4096);
  if (node.has("advice")) {
    const core::JsonNode advice = node.at("advice");
    for (std::size_t i = 0; i < advice.size(); ++i) s.advice.push_back(advice.at(i).text(400));
  }
  if (node.has("samples")) {
    const core::JsonNode samples = node.at("samples");
    if (samples.size() > 100000) samples.fail("has more than 100000 entries");
    for (std::size_t i = 0; i < samples.size(); ++i) {
      const core::JsonNode p = samples.at(i);
      s.samples.push_back({p.at("s").number(-1e5, 1e5), p.at("width").number(-1e4, 1e4),
                           p.at("sd").number(-1e4, 1e4), read_vector<3>(p.at("a")),
                           read_vector<3>(p.at("b"))});
      if (p.has("throat"))
        s.samples.back().throat =
            core::Width{p.at("throat").number(-1e4, 1e4), p.at("throat_sd").number(0, 1e4)};
    }
  }
  return s;
}

std::vector<std::string> read_lines(const core::JsonNode& node) {
  std::vector<std::string> lines;
  for (std::size_t i = 0; i < node.size(); ++i) lines.push_back(node.at(i).text(400));
  return lines;
}

FitQuality read_quality(const core::JsonNode& node) {
  FitQuality q;
  q.photos_given = node.at("photos_given").integer(0, 1000000);
  q.photos_used = node.at("photos_used").integer(0, 1000000);
  q.reprojection_rms_px = node.at("reprojection_rms_px").number(0, 1e6);
  q.pixel_footprint_mm = node.at("pixel_footprint_mm").number(0, 1e6);
  q.scale_u95_percent = node.at("scale_u95_percent").number(0, 1e6);
  q.length_error_mm = read_optional(node, "length_error_mm");
  if (node.has("check_line_given")) q.check_line_given = node.at("check_line_given").boolean();
  if (node.has("left_out")) {
    const core::JsonNode left = node.at("left_out");
    for (std::size_t i = 0; i < left.size(); ++i) {
      q.left_out.push_back({left.at(i).at("photo").text(4096), left.at(i).at("reason").text(4096)});
    }
  }
  return q;
}

}  // namespace

core::Width mouth_of(const FitSeam& seam) {
  return core::width_of(seam.narrowest_mm.value_or(0), seam.u95_mm.value_or(0));
}

std::optional<core::Width> throat_of(const FitSeam& seam) {
  if (!seam.throat_mm || !seam.throat_u95_mm) return std::nullopt;
  return core::width_of(*seam.throat_mm, *seam.throat_u95_mm);
}

std::optional<core::Width> deciding_throat(const FitSeam& seam) {
  const bool behind = seam.verdict == Verdict::pinched || seam.doubt == Doubt::throat;
  return behind ? throat_of(seam) : std::nullopt;
}

void judge_again(FitSeam& seam, double smallest_fill_mm) {
  if (seam.verdict == Verdict::unseen || !seam.narrowest_mm) return;
  const core::Judgement judged = core::judge(mouth_of(seam), throat_of(seam), smallest_fill_mm);
  seam.verdict = judged.verdict;
  seam.doubt = judged.doubt;
}

const char* name_of(ThroatFrom from) {
  return kThroats[static_cast<std::size_t>(from)];
}

std::string write_fit(const FitDocument& fit) {
  Json root;
  root["format"] = "interstice-fit";
  root["version"] = 1;
  root["name"] = fit.name;
  root["smallest_fill_mm"] = rounded(fit.smallest_fill_mm);
  if (fit.finished_wall)
    root["finished_wall"] = {rounded(fit.finished_wall->from_mm), rounded(fit.finished_wall->to_mm)};
  root["quality"] = write_quality(fit.quality);
  root["warnings"] = fit.warnings;
  root["form_profile"] = lists(fit.form_profile);
  root["tiles"] = Json::array();
  for (const FitTile& t : fit.tiles) root["tiles"].push_back(write_tile(t));
  root["seams"] = Json::array();
  for (const FitSeam& s : fit.seams) root["seams"].push_back(write_seam(s));
  root["corrections"] = Json::array();
  for (const Correction& c : fit.corrections) root["corrections"].push_back(fit_json::write_correction(c));
  root["corrections_refused"] = fit.corrections_refused;
  return root.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

FitDocument parse_fit(const std::string& json_text, const std::string& file) {
  const nlohmann::json document = core::parse_json(json_text, file);
  const core::JsonNode root(document, file);
  if (root.at("format").text() != "interstice-fit") root.at("format").fail("this is not a fit file");
  if (root.at("version").number() != 1) root.at("version").fail("only version 1 is understood");
  FitDocument fit;
  if (root.has("name")) fit.name = root.at("name").text();
  fit.smallest_fill_mm = root.at("smallest_fill_mm").number(0.01, 100);
  if (root.has("finished_wall")) {
    const std::vector<double> wall = root.at("finished_wall").numbers(2);
    fit.finished_wall = plan::FinishedWall{wall[0], wall[1]};
    if (const auto fault = plan::fault_of(*fit.finished_wall, 200)) root.at("finished_wall").fail(*fault);
  }
  fit.quality = read_quality(root.at("quality"));
  if (root.has("form_profile")) fit.form_profile = read_vectors<2>(root.at("form_profile"));
  const core::JsonNode tiles = root.at("tiles");
  if (tiles.size() > kMaxTiles) tiles.fail("has more than " + std::to_string(kMaxTiles) + " entries");
  for (std::size_t i = 0; i < tiles.size(); ++i) fit.tiles.push_back(read_tile(tiles.at(i)));
  const core::JsonNode seams = root.at("seams");
  if (seams.size() > kMaxSeams) seams.fail("has more than " + std::to_string(kMaxSeams) + " entries");
  for (std::size_t i = 0; i < seams.size(); ++i) fit.seams.push_back(read_seam(seams.at(i)));
  if (root.has("corrections")) {
    const core::JsonNode list_node = root.at("corrections");
    for (std::size_t i = 0; i < list_node.size(); ++i)
      fit.corrections.push_back(fit_json::read_correction(list_node.at(i)));
  }
  if (root.has("corrections_refused")) fit.corrections_refused = read_lines(root.at("corrections_refused"));
  if (root.has("warnings")) fit.warnings = read_lines(root.at("warnings"));
  return fit;
}

FitDocument read_fit(const std::filesystem::path& path) {
  return parse_fit(core::read_file(path, 256u << 20), path.string());
}

}  // namespace interstice::seams
