#include "refill/refill_document.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace interstice::refill {
namespace {

using Json = nlohmann::ordered_json;

double rounded(double x, double scale = 1e4) {
  const double r = std::round(x * scale) / scale;
  return r == 0 ? 0.0 : r;
}

template <class V>
Json list(const V& v) {
  Json out = Json::array();
  for (Eigen::Index i = 0; i < v.size(); ++i) out.push_back(rounded(v[i]));
  return out;
}

Json optional_number(const std::optional<double>& x) {
  return x ? Json(rounded(*x)) : Json(nullptr);
}

Json write_seam(const RefillSeam& s) {
  Json j;
  j["tiles"] = {s.tiles[0], s.tiles[1]};
  j["state"] = name_of(s.state);
  j["width_mm"] = optional_number(s.width_mm);
  j["throat_mm"] = optional_number(s.throat_mm);
  j["length_mm"] = rounded(s.length_mm);
  j["hollow_mm2"] = rounded(s.hollow_mm2);
  j["seen_share"] = rounded(s.seen_share);
  j["called_clear"] = s.called_clear;
  j["along"] = Json::array();
  for (const Stretch& a : s.along)
    j["along"].push_back(
        {{"from_mm", rounded(a.from_mm)}, {"to_mm", rounded(a.to_mm)}, {"state", name_of(a.state)}});
  return j;
}

Json write_hollow(const Hollow& h) {
  Json j;
  j["map"] = list(h.map);
  j["at"] = list(h.at);
  j["tiles"] = {h.tiles[0], h.tiles[1]};
  j["kind"] = name_of(h.kind);
  j["length_mm"] = rounded(h.length_mm);
  j["width_mm"] = rounded(h.width_mm);
  j["opening_mm2"] = rounded(h.opening_mm2);
  j["opening_u95_mm2"] = rounded(h.opening_u95_mm2);
  j["depth_at_least_mm"] = rounded(h.depth_at_least_mm);
  j["floor_mm"] = optional_number(h.floor_mm);
  j["volume_ml"] = {rounded(h.volume_low_ml, 1e6), rounded(h.volume_high_ml, 1e6)};
  j["best_photo"] = h.best_photo;
  j["hue_share"] = rounded(h.hue_share);
  j["shade"] = rounded(h.shade);
  j["normal"] = list(h.normal);
  j["rim"] = Json::array();
  for (const Eigen::Vector3d& p : h.rim) j["rim"].push_back(list(p));
  return j;
}

Json write_pour(const RefillPour& p) {
  Json j;
  j["tilt_deg"] = rounded(p.tilt_deg);
  j["azimuth_deg"] = rounded(p.azimuth_deg);
  j["up"] = p.up;
  j["hollows"] = p.hollows;
  j["volume_ml"] = {rounded(p.volume_low_ml), rounded(p.volume_high_ml)};
  j["mix_ml"] = rounded(p.mix_ml);
  j["tape"] = Json::array();
  for (const TilePair& t : p.tape) j["tape"].push_back({t[0], t[1]});
  return j;
}

Json write_quality(const RefillQuality& q) {
  return {{"photos_given", q.photos_given},
          {"photos_used", q.photos_used},
          {"pieces", q.pieces},
          {"pieces_agreeing", q.pieces_agreeing},
          {"registration_mm", rounded(q.registration_mm)},
          {"pixel_footprint_mm", rounded(q.pixel_footprint_mm)},
          {"scale_ratio", rounded(q.scale_ratio, 1e6)}};
}

}  // namespace

const char* name_of(SeamState state) {
  constexpr const char* names[] = {"filled", "hollow", "unseen"};
  return names[static_cast<int>(state)];
}

const char* name_of(HollowKind kind) {
  return kind == HollowKind::slot ? "slot" : "pit";
}

const char* name_of(Way way) {
  constexpr const char* names[] = {"pour", "open first", "syringe"};
  return names[static_cast<int>(way)];
}

std::string write_refill(const RefillDocument& document) {
  Json j;
  j["format"] = "interstice-refill";
  j["version"] = 1;
  j["name"] = document.name;
  j["seams"] = Json::array();
  for (const RefillSeam& s : document.seams) j["seams"].push_back(write_seam(s));
  j["hollows"] = Json::array();
  for (std::size_t i = 0; i < document.hollows.size(); ++i) {
    Json h = write_hollow(document.hollows[i]);
    if (i < document.advice.size()) {
      h["way"] = name_of(document.advice[i].way);
      h["advice"] = document.advice[i].words;
    }
    j["hollows"].push_back(h);
  }
  j["pours"] = Json::array();
  for (const RefillPour& p : document.pours) j["pours"].push_back(write_pour(p));
  if (document.fill_limit) {
    j["fill_limit"] = {{"width_mm", rounded(document.fill_limit->width_mm)},
                       {"u95_mm", rounded(document.fill_limit->u95_mm)},
                       {"seams", document.fill_limit->seams}};
  } else {
    j["fill_limit"] = nullptr;
  }
  j["fill_limit_words"] = document.fill_limit_words;
  j["warnings"] = document.warnings;
  j["cautions"] = document.cautions;
  j["quality"] = write_quality(document.quality);
  return j.dump(1) + "\n";
}

}  // namespace interstice::refill
