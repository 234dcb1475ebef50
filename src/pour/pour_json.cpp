#include <cmath>
#include <nlohmann/json.hpp>

#include "pour/pour_document.h"

namespace interstice::pour {
namespace {

using Json = nlohmann::ordered_json;

Json number(double x, double places = 1e3) {
  if (!std::isfinite(x)) return nullptr;
  const double r = std::round(x * places) / places;
  return r == 0 ? 0.0 : r;
}
Json pair(const TilePair& p) {
  return Json::array({p[0], p[1]});
}
Json pairs(const std::vector<TilePair>& list) {
  Json out = Json::array();
  for (const TilePair& p : list) out.push_back(pair(p));
  return out;
}
Json map(const Eigen::Vector2d& uv) {
  return Json::array({number(uv.x()), number(uv.y())});
}

Json coverage(const Coverage& c) {
  return {{"planned", c.planned},
          {"placed", c.placed},
          {"rings_on", c.rings_on},
          {"rings_planned", c.rings_planned},
          {"absent", c.absent},
          {"unseen", c.unseen},
          {"not_begun", c.not_begun},
          {"too_tight", pairs(c.too_tight)},
          {"pinched", pairs(c.pinched)},
          {"doubtful", pairs(c.doubtful)},
          {"unseen_seams", pairs(c.unseen_seams)},
          {"form_area_mm2", number(c.form_area_mm2, 10)},
          {"covered_area_mm2", number(c.covered_area_mm2, 10)},
          {"bare_area_mm2", number(c.bare_area_mm2, 10)}};
}

Json stranded(const StrandedPlace& p) {
  return {{"behind", pair(p.behind)},
          {"width_mm", number(p.width_mm)},
          {"length_mm", number(p.length_mm)},
          {"length_low_mm", number(p.length_low_mm)},
          {"length_high_mm", number(p.length_high_mm)},
          {"volume_ml", number(p.volume_ml)},
          {"certainty", name_of(p.certainty)},
          {"own_length_mm", number(p.own_length_mm)},
          {"freed_length_mm", number(p.freed_length_mm)},
          {"freed_volume_ml", number(p.freed_volume_ml)},
          {"before", p.before},
          {"seams_behind", pairs(p.seams_behind)},
          {"map", map(p.map)}};
}

// How far from which end of its seam; left out where only corners meet.
void put_place(const std::optional<seams::SeamPlace>& place, Json& j) {
  if (!place) return;
  j["from_end_mm"] = number(place->from_end_mm);
  j["end_at"] = place->end;
}

Json inlet(const InletReport& i) {
  Json j = {{"seam", pair(i.seam)}, {"map", map(i.map)}, {"end", i.end}, {"volume_ml", number(i.volume_ml)}};
  put_place(i.place, j);
  return j;
}
Json inlets(const std::vector<InletReport>& list) {
  Json out = Json::array();
  for (const InletReport& i : list) out.push_back(inlet(i));
  return out;
}

Json pour(const PourReport& p) {
  Json j;
  j["volume_ml"] = number(p.volume_ml);
  j["tilt_deg"] = number(p.tilt_deg);
  j["up"] = p.up;
  j["inlet"] = p.inlets.empty() ? Json(nullptr) : map(p.inlets.front().map);
  j["deepest_mm"] = number(p.deepest_mm);
  j["tape"] = pairs(p.tape);
  j["azimuth_deg"] = number(p.azimuth_deg);
  j["lift"] = p.lift;
  j["lifts"] = p.lifts;
  j["mix_ml"] = number(p.mix_ml);
  j["creep_ml"] = number(p.creep_ml);
  j["mix_g"] = p.mix_g ? number(*p.mix_g) : Json(nullptr);
  const auto parts = [](const std::optional<std::array<double, 2>>& x) {
    return x ? Json::array({number((*x)[0]), number((*x)[1])}) : Json(nullptr);
  };
  j["parts_ml"] = parts(p.parts_ml);
  j["parts_g"] = parts(p.parts_g);
  j["prop_mm"] = p.prop_mm ? number(*p.prop_mm) : Json(nullptr);
  j["inlets"] = inlets(p.inlets);
  j["fills"] = pairs(p.fills);
  j["vents"] = inlets(p.vents);
  j["dam"] = inlets(p.dam);
  j["pockets"] = Json::array();
  for (const Pocket& k : p.pockets) {
    j["pockets"].push_back({{"seam", pair(k.seam)}, {"map", map(k.map)}, {"volume_ml", number(k.volume_ml)}});
    put_place(k.place, j["pockets"].back());
  }
  j["pricks"] = Json::array();
  for (const PrickPlace& k : p.pricks) {
    j["pricks"].push_back({{"seam", pair(k.seam)},
                           {"map", map(k.map)},
                           {"length_mm", number(k.length_mm)},
                           {"volume_ml", number(k.volume_ml)}});
    put_place(k.place, j["pricks"].back());
  }
  j["trapped_ml"] = number(p.trapped_ml);
  j["counterflow_length_mm"] = number(p.counterflow_length_mm);
  j["slowest_min"] = p.slowest_min ? number(*p.slowest_min) : Json(nullptr);
  j["time_limited_length_mm"] = number(p.time_limited_length_mm);
  j["words"] = p.words;
  return j;
}

Json channel(const ChannelReport& c) {
  Json points = Json::array();
  for (const ChannelPoint& p : c.points) {
    points.push_back({{"s", number(p.s_mm)},
                      {"map", map(p.map)},
                      {"width_mm", number(p.width_mm)},
                      {"reach_width_mm", number(p.reach_width_mm)},
                      {"depth_mm", number(p.depth_mm)},
                      {"volume_ml", number(p.volume_ml, 1e4)},
                      {"seen", p.seen},
                      {"reached", p.reached},
                      {"end", p.end}});
  }
  return {{"tiles", pair(c.tiles)},
          {"listed", c.listed},
          {"length_mm", number(c.length_mm)},
          {"volume_ml", number(c.volume_ml)},
          {"points", points}};
}

Json build(const BuildAdvice& b) {
  Json rings = Json::array();
  for (const RingReport& r : b.rings) {
    rings.push_back(
        {{"ring", r.ring}, {"on", r.on}, {"depth_mm", number(r.depth_mm)}, {"reach_mm", number(r.reach_mm)}});
  }
  return {{"open_ring", b.open_ring},
          {"deepest_reach_mm", number(b.deepest_reach_mm)},
          {"closing_length_mm", number(b.closing_length_mm)},
          {"closing_volume_ml", number(b.closing_volume_ml)},
          {"closing_seams", pairs(b.closing_seams)},
          {"rings_before_first_pour",
           b.rings_before_first_pour ? Json(*b.rings_before_first_pour) : Json(nullptr)},
          {"limited_by", name_of(b.limited_by)},
          {"rings", rings},
          {"words", b.words}};
}

Json resin(const PourDocument& d) {
  Json reach = Json::array();
  for (const SlotReach& r : d.slot_reach) {
    reach.push_back({{"width_mm", r.width_mm},
                     {"draining_mm", number(r.draining_mm, 10)},
                     {"wicking_mm", number(r.wicking_mm, 10)},
                     {"level_mm", number(r.level_mm, 10)}});
  }
  return {{"name", d.resin_name},
          {"bubble_limit_mm", d.bubble_limit_mm ? number(*d.bubble_limit_mm) : Json(nullptr)},
          {"reach_in_pot_life", reach}};
}

}  // namespace

std::string write_pour(const PourDocument& d) {
  Json root;
  root["format"] = "interstice-pour";
  root["version"] = 1;
  root["name"] = d.name;
  root["ready"] = d.ready;
  root["ready_for_rings_on"] = d.ready_for_rings_on;
  root["reasons"] = d.reasons;
  root["warnings"] = d.warnings;
  root["cautions"] = d.cautions;
  root["smallest_fill_mm"] = number(d.smallest_fill_mm);
  root["coverage"] = coverage(d.coverage);
  root["void_volume_ml"] = number(d.void_volume_ml);
  root["seams_ml"] = number(d.seams_ml);
  root["junctions_ml"] = number(d.junctions_ml);
  root["under_pieces_ml"] = number(d.under_pieces_ml);
  root["rim_ml"] = number(d.rim_ml);
  root["seam_length_mm"] = number(d.seam_length_mm);
  root["stranded"] = Json::array();
  for (const StrandedPlace& p : d.stranded) root["stranded"].push_back(stranded(p));
  root["stranded_length_mm"] = number(d.stranded_length_mm);
  root["stranded_ml"] = number(d.stranded_ml);
  root["pours"] = Json::array();
  for (const PourReport& p : d.pours) root["pours"].push_back(pour(p));
  root["trapped_ml_after"] = number(d.trapped_ml_after);
  root["build"] = build(d.build);
  root["resin"] = d.slot_reach.empty() ? Json(nullptr) : resin(d);
  root["pinched_length_mm"] = number(d.pinched_length_mm);
  root["pinched_ml"] = number(d.pinched_ml);
  root["narrow_behind"] = Json::array();
  for (const NarrowBehind& n : d.narrow_behind) {
    root["narrow_behind"].push_back({{"tiles", pair(n.tiles)},
                                     {"mouth_mm", number(n.mouth_mm)},
                                     {"throat_mm", number(n.throat_mm)},
                                     {"throat_u95_mm", number(n.throat_u95_mm)},
                                     {"throat_from", name_of(n.from)},
                                     {"proved", n.proved},
                                     {"length_mm", number(n.length_mm)},
                                     {"volume_ml", number(n.volume_ml)},
                                     {"map", map(n.map)}});
  }
  root["openings"] = inlets(d.openings);
  root["junctions"] = Json::array();
  for (const JunctionReport& j : d.junctions) {
    root["junctions"].push_back(
        {{"tiles", j.tiles}, {"map", map(j.map)}, {"volume_ml", number(j.volume_ml)}});
  }
  root["channels"] = Json::array();
  for (const ChannelReport& c : d.channels) root["channels"].push_back(channel(c));
  return root.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace interstice::pour
