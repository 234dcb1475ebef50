#include "seams/fit_json.h"

namespace interstice::seams::fit_json {
namespace {

constexpr std::array kActions{"move", "sand", "ease"};

}  // namespace

Json write_correction(const Correction& c) {
  Json j;
  j["tile"] = c.tile;
  j["action"] = kActions[static_cast<std::size_t>(c.action)];
  if (c.action == Correction::Action::move) {
    j["along_mm"] = rounded(c.along_mm);
    j["towards_pole_mm"] = rounded(c.towards_pole_mm);
    j["turn_deg"] = rounded(c.turn_deg);
  } else {
    j["facing"] = c.facing;
    j["from"] = list(c.from);
    j["to"] = list(c.to);
    if (c.action == Correction::Action::sand) j["depth_mm"] = rounded(c.depth_mm);
    if (c.angle_deg > 0 || c.action == Correction::Action::ease) j["angle_deg"] = rounded(c.angle_deg);
    if (!c.begin_at.empty()) j["begin_at"] = c.begin_at, j["begin_mm"] = rounded(c.begin_mm);
    j["length_mm"] = rounded(c.length_mm);
  }
  j["frees"] = Json::array();
  for (const Correction::Freed& f : c.frees) {
    j["frees"].push_back(
        {{"tiles", {f.tiles[0], f.tiles[1]}}, {"width_after_mm", rounded(f.width_after_mm)}});
    if (f.throat_after_mm) j["frees"].back()["throat_after_mm"] = rounded(*f.throat_after_mm);
  }
  return j;
}

Correction read_correction(const core::JsonNode& node) {
  Correction c;
  c.tile = node.at("tile").text();
  c.action = static_cast<Correction::Action>(one_of(node.at("action"), kActions));
  if (c.action == Correction::Action::move) {
    c.along_mm = node.at("along_mm").number(-1000, 1000);
    c.towards_pole_mm = node.at("towards_pole_mm").number(-1000, 1000);
    c.turn_deg = node.at("turn_deg").number(-360, 360);
  } else {
    c.facing = node.at("facing").text();
    c.from = read_vector<2>(node.at("from"));
    c.to = read_vector<2>(node.at("to"));
    if (c.action == Correction::Action::sand) c.depth_mm = node.at("depth_mm").number(0, 1000);
    if (c.action == Correction::Action::ease || node.has("angle_deg"))
      c.angle_deg = node.at("angle_deg").number(0, 45);
    if (node.has("begin_at")) {
      c.begin_at = node.at("begin_at").text(60);
      c.begin_mm = node.at("begin_mm").number(0, 1e5);
    }
    if (node.has("length_mm")) c.length_mm = node.at("length_mm").number(0, 1e5);
  }
  if (node.has("frees")) {
    const core::JsonNode frees = node.at("frees");
    for (std::size_t i = 0; i < frees.size(); ++i) {
      const core::JsonNode freed = frees.at(i);
      c.frees.push_back({read_pair_of_labels(freed.at("tiles")), freed.at("width_after_mm").number(-1e4, 1e4),
                         read_optional(freed, "throat_after_mm")});
    }
  }
  return c;
}

}  // namespace interstice::seams::fit_json
