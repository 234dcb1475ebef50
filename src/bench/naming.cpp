#include "bench/naming.h"

#include <algorithm>
#include <map>

#include "bench/measuring_orders.h"
#include "bench/naming_page.h"
#include "core/errors.h"
#include "core/file_kind.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "layout/trace.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr std::size_t kMostPlanBytes = 64u << 20, kMostLabelsBytes = 1u << 20;

std::optional<UnrolledPicture> unrolled_of(const Services& services, const Bowl& bowl) {
  const auto text = services.folder.read({"bowls", bowl.key, "unrolled.json"}, kMostLabelsBytes);
  if (!text || !services.folder.open({"bowls", bowl.key, "unrolled.png"})) return std::nullopt;
  try {
    const nlohmann::json document = core::parse_json(*text, "unrolled.json");
    const core::JsonNode root(document, "unrolled.json");
    UnrolledPicture picture;
    picture.mm_per_px = root.at("mm_per_px").number(0.01, 10);
    picture.cx = root.at("cx").number(0, 1e5);
    picture.cy = root.at("cy").number(0, 1e5);
    picture.width_px = root.at("width").integer(1, 100000);
    picture.height_px = root.at("height").integer(1, 100000);
    const core::JsonNode again = root.at("look_again");
    for (std::size_t i = 0; i < again.size(); ++i)
      picture.look_again.push_back({again.at(i).at("label").text(), again.at(i).at("why").text(400)});
    return picture;
  } catch (const core::InputError&) {
    return std::nullopt;
  }
}

std::string plan_of_bowl(const Services& services, const Bowl& bowl) {
  const auto text = services.folder.read({"bowls", bowl.key, "plan.json"}, kMostPlanBytes);
  if (!text) throw core::InputError(bowl.name, "has no plan yet");
  return *text;
}

// What was proposed when the plan was traced, to what the pieces are called from now on.
std::string labels_file(const plan::Plan& before, const std::string& renamed, const std::string& earlier) {
  std::map<std::string, std::string> proposed_of;  // by the name before
  for (const auto& [proposed, name] : layout::read_labels(earlier, "labels.csv"))
    proposed_of[name] = proposed;
  const std::map<std::string, std::string> now = layout::read_labels(renamed, "names");
  std::string out;
  for (const plan::PlannedTile& tile : before.tiles) {
    const auto proposed = proposed_of.find(tile.label);
    const auto wanted = now.find(tile.label);
    out += (proposed == proposed_of.end() ? tile.label : proposed->second) + "," +
           (wanted == now.end() ? tile.label : wanted->second) + "\n";
  }
  return out;
}

Response take_names(const Services& services, const Request& request, const Bowl& bowl) {
  if (!may_be_named(services.folder, bowl))
    return plain(409, "a ring is measured under these names; they stay");
  plan::Plan plan = plan::parse_plan(plan_of_bowl(services, bowl), "plan.json");
  const plan::Plan before = plan;
  const std::string renamed = form_fields(request.body)["labels"];
  layout::rename_tiles(plan, renamed, "names");
  const fs::path of_bowl = services.folder.bowl_path(bowl.key);
  const std::string earlier =
      services.folder.read({"bowls", bowl.key, "labels.csv"}, kMostLabelsBytes).value_or("");
  core::write_file_atomically(of_bowl / "labels.csv", labels_file(before, renamed, earlier));
  core::write_file_atomically(of_bowl / "plan.json", core::FileKind::plan().sealed(plan::write_plan(plan)));
  services.log("pieces named: " + bowl.key);
  return json_answer("{\"place\":\"/b/" + bowl.key + "\"}");
}

}  // namespace

fs::path unrolled_picture(const Folder& folder, const Bowl& bowl) {
  return folder.bowl_path(bowl.key) / "unrolled.png";
}

bool may_be_named(const Folder& folder, const Bowl& bowl) {
  std::error_code ec;
  if (!fs::exists(folder.bowl_path(bowl.key) / "plan.json", ec)) return false;
  const std::vector<ScanOfBowl> scans = folder.scans(bowl.key);
  return std::none_of(scans.begin(), scans.end(), [&](const ScanOfBowl& scan) {
    return scan.kind == ScanKind::ring && is_measured(folder, scan);
  });
}

Response naming_answer(const Services& services, const Request& request, const Bowl& bowl) {
  const std::string& what = request.parts[2];
  if (request.method == "POST")
    return what == "names" ? take_names(services, request, bowl) : plain(404, "there is no such thing to do");
  if (what == "labels.csv")
    return file_answer(services.folder, {"bowls", bowl.key, "labels.csv"}, "text/csv; charset=utf-8",
                       bowl.key + "-labels.csv");
  if (what == "unrolled.png")
    return file_answer(services.folder, {"bowls", bowl.key, "unrolled.png"}, "image/png");
  if (!may_be_named(services.folder, bowl)) return see_other("/b/" + bowl.key);
  Response page;
  page.body = naming_page(bowl, plan::parse_plan(plan_of_bowl(services, bowl), "plan.json"),
                          unrolled_of(services, bowl));
  return page;
}

}  // namespace interstice::bench
