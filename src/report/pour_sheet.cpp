#include "report/pour_sheet.h"

#include "core/json_reader.h"

namespace interstice::report {
namespace {

constexpr double kMost = 1e7;
constexpr std::size_t kLongText = 20000;

std::array<std::string, 2> read_pair(const core::JsonNode& node) {
  if (node.size() != 2) node.fail("needs the labels of two pieces");
  return {node.at(std::size_t{0}).text(), node.at(std::size_t{1}).text()};
}

std::vector<std::string> read_lines(const core::JsonNode& node) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < node.size(); ++i) out.push_back(node.at(i).text(kLongText));
  return out;
}

std::vector<PourPlace> read_places(const core::JsonNode& node) {
  std::vector<PourPlace> out;
  for (std::size_t i = 0; i < node.size(); ++i) {
    const core::JsonNode n = node.at(i);
    const std::vector<double> uv = n.at("map").numbers(2);
    PourPlace place{read_pair(n.at("seam")), {uv[0], uv[1]}};
    if (n.has("end")) place.end = n.at("end").boolean();
    if (n.has("end_at"))
      place.along = seams::SeamPlace{n.at("from_end_mm").number(0, kMost), n.at("end_at").text()};
    if (n.has("length_mm")) place.length_mm = n.at("length_mm").number(0, kMost);
    if (n.has("volume_ml")) place.volume_ml = n.at("volume_ml").number(0, kMost);
    out.push_back(std::move(place));
  }
  return out;
}

SheetPour read_one(const core::JsonNode& node) {
  SheetPour p;
  p.volume_ml = node.at("volume_ml").number(0, kMost);
  p.mix_ml = node.at("mix_ml").number(0, kMost);
  if (!node.at("mix_g").is_null()) p.mix_g = node.at("mix_g").number(0, kMost);
  p.tilt_deg = node.at("tilt_deg").number(-360, 360);
  p.azimuth_deg = node.at("azimuth_deg").number(-360, 360);
  p.deepest_mm = node.at("deepest_mm").number(0, kMost);
  p.trapped_ml = node.at("trapped_ml").number(0, kMost);
  p.lift = node.at("lift").integer(1, 1000);
  p.lifts = node.at("lifts").integer(1, 1000);
  p.up = node.at("up").text();
  p.words = node.at("words").text(kLongText);
  const core::JsonNode tape = node.at("tape");
  for (std::size_t i = 0; i < tape.size(); ++i) p.tape.push_back(read_pair(tape.at(i)));
  p.inlets = read_places(node.at("inlets"));
  p.vents = read_places(node.at("vents"));
  p.dam = read_places(node.at("dam"));
  if (node.has("pricks")) p.pricks = read_places(node.at("pricks"));
  if (node.has("creep_ml")) p.creep_ml = node.at("creep_ml").number(0, kMost);
  return p;
}

void read_volumes(const core::JsonNode& root, PourSheet& sheet) {
  sheet.void_volume_ml = root.at("void_volume_ml").number(0, kMost);
  sheet.seams_ml = root.at("seams_ml").number(0, kMost);
  sheet.under_pieces_ml = root.at("under_pieces_ml").number(0, kMost);
  if (root.has("rim_ml")) sheet.rim_ml = root.at("rim_ml").number(0, kMost);
  sheet.stranded_length_mm = root.at("stranded_length_mm").number(0, kMost);
  sheet.stranded_ml = root.at("stranded_ml").number(0, kMost);
  sheet.trapped_ml_after = root.at("trapped_ml_after").number(0, kMost);
}

SheetStranded read_stranded(const core::JsonNode& n) {
  SheetStranded s{read_pair(n.at("behind")),
                  n.at("width_mm").number(-kMost, kMost),
                  n.at("length_mm").number(0, kMost),
                  n.at("volume_ml").number(0, kMost),
                  n.at("freed_length_mm").number(0, kMost),
                  0,
                  0,
                  true};
  const auto other = [&](const char* key) { return n.has(key) ? n.at(key).number(0, kMost) : s.length_mm; };
  s.length_low_mm = other("length_low_mm");
  s.length_high_mm = other("length_high_mm");
  s.proved = !n.has("certainty") || n.at("certainty").text() == "measured";
  return s;
}

// Documents of before throats were judged have no more than widths.
void read_narrow(const core::JsonNode& root, PourSheet& sheet) {
  if (root.has("pinched_length_mm")) sheet.pinched_length_mm = root.at("pinched_length_mm").number(0, kMost);
  if (root.has("pinched_ml")) sheet.pinched_ml = root.at("pinched_ml").number(0, kMost);
  if (!root.has("narrow_behind")) return;
  const core::JsonNode list = root.at("narrow_behind");
  for (std::size_t i = 0; i < list.size(); ++i) {
    const core::JsonNode n = list.at(i);
    const auto other = [&](const char* key) { return n.has(key) ? n.at(key).number(0, kMost) : 0.0; };
    sheet.narrow.push_back({read_pair(n.at("tiles")), n.at("mouth_mm").number(-kMost, kMost),
                            n.at("throat_mm").number(-kMost, kMost), other("throat_u95_mm"),
                            other("length_mm"), other("volume_ml"),
                            !n.has("proved") || n.at("proved").boolean()});
  }
}

}  // namespace

PourSheet parse_pour_sheet(const std::string& json_text, const std::string& file) {
  const nlohmann::json document = core::parse_json(json_text, file);
  const core::JsonNode root(document, file);
  if (root.at("format").text() != "interstice-pour") root.at("format").fail("this is not a pour file");
  if (root.at("version").number() != 1) root.at("version").fail("only version 1 is understood");
  PourSheet sheet;
  sheet.ready = root.at("ready").boolean();
  sheet.ready_for_rings_on = root.at("ready_for_rings_on").boolean();
  sheet.reasons = read_lines(root.at("reasons"));
  sheet.warnings = read_lines(root.at("warnings"));
  sheet.cautions = read_lines(root.at("cautions"));
  sheet.rings_on = root.at("coverage").at("rings_on").integer(0, 100000);
  sheet.rings_planned = root.at("coverage").at("rings_planned").integer(0, 100000);
  read_volumes(root, sheet);
  sheet.build_words = root.at("build").at("words").text(kLongText);
  if (!root.at("resin").is_null()) sheet.resin_name = root.at("resin").at("name").text();
  const core::JsonNode stranded = root.at("stranded");
  for (std::size_t i = 0; i < stranded.size(); ++i) {
    sheet.stranded.push_back(read_stranded(stranded.at(i)));
  }
  read_narrow(root, sheet);
  const core::JsonNode pours = root.at("pours");
  for (std::size_t i = 0; i < pours.size(); ++i) sheet.pours.push_back(read_one(pours.at(i)));
  return sheet;
}

}  // namespace interstice::report
