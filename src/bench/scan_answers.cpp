#include "bench/scan_answers.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "bench/dial_drawing.h"
#include "bench/measuring_orders.h"
#include "bench/scan_pages.h"
#include "core/errors.h"
#include "core/name_check.h"
#include "core/place.h"
#include "core/sha256.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kMostListBytes = 16 << 20;

std::string dumped(const Json& document) {
  return document.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// The dial of the photos that are of use.
Dial without_faulty(const CheckedScan& checked) {
  Dial dial = checked.dial;
  std::erase_if(dial.standpoints, [&](const Standpoint& s) {
    const auto photo = std::find_if(checked.photos.begin(), checked.photos.end(),
                                    [&](const CheckedPhoto& p) { return p.name == s.photo; });
    return photo == checked.photos.end() || !photo->faults.empty();
  });
  return dial;
}

std::vector<std::string> parts_of(const ScanOfBowl& scan, std::initializer_list<std::string> more) {
  std::vector<std::string> parts{"bowls", scan.bowl, "scans", scan.key};
  parts.insert(parts.end(), more);
  return parts;
}

Json photo_json(const CheckedPhoto& photo, const Dial& dial, const ViewCoverage& coverage) {
  Json p = {
      {"name", photo.name}, {"checked", photo.checked}, {"cards", photo.cards}, {"faults", photo.faults}};
  std::vector<std::string> notes = photo.notes;
  for (const auto& [later, earlier] : coverage.doubles) {
    if (later == photo.name) notes.push_back("from nearly the same place as " + earlier);
  }
  p["notes"] = notes;
  const auto at = std::find_if(dial.standpoints.begin(), dial.standpoints.end(),
                               [&](const Standpoint& s) { return s.photo == photo.name; });
  if (at != dial.standpoints.end()) p["place"] = words_of({level_of(at->height_deg), at->clock_deg});
  return p;
}

std::string type_of_photo(const std::string& name) {
  const std::string ending = name.substr(name.rfind('.') + 1);
  if (ending == "png" || ending == "webp" || ending == "heic") return "image/" + ending;
  return ending == "tif" ? "image/tiff" : "image/jpeg";
}

std::optional<std::uint64_t> number_asked(const Request& request, const std::string& name) {
  const std::string text = request.asked(name);
  if (text.empty() || text.size() > 18 || text.find_first_not_of("0123456789") != std::string::npos)
    return std::nullopt;
  return std::stoull(text);
}

Response take_slice(const Services& services, const Request& request, const ScanOfBowl& scan) {
  const auto at = number_asked(request, "at"), total = number_asked(request, "total");
  if (!at || !total) return plain(400, "a slice says where it begins (at) and how long the photo is (total)");
  const SliceTaken taken = services.uploads.take(scan, {request.asked("id"), *at, *total, &request.body});
  Json answer = {{"have", taken.have}};
  if (!taken.fault.empty()) answer["fault"] = taken.fault;
  if (taken.photo) {
    answer["photo"] = taken.photo->name;
    answer["sha256"] = taken.photo->sha256;
    answer["bytes"] = taken.photo->bytes;
    answer["known"] = taken.photo->known;
    if (!taken.photo->known) services.log(scan.bowl + "/" + scan.key + ": " + taken.photo->name);
  }
  Response response = json_answer(dumped(answer), taken.status);
  if (taken.status == 429 || taken.status == 507) response.headers.emplace_back("Retry-After", "10");
  return response;
}

// Out of the scan, or back into it; never away.
Response move_photo(const Services& services, const Request& request, const ScanOfBowl& scan, bool back) {
  const std::string photo = form_fields(request.body)["photo"];
  if (!is_photo_name(photo)) return plain(400, "there is no such photo");
  const fs::path path = services.folder.scan_path(scan.bowl, scan.key);
  const fs::path from = path / (back ? "set-aside" : "photos"), to = path / (back ? "photos" : "set-aside");
  std::error_code ec;
  fs::create_directory(to, ec);
  if (!core::rename_to_new_name(from / photo, to / photo)) return plain(404, "there is no such photo");
  return json_answer("{}");
}

std::string ticks_key(const Services& services, const ScanOfBowl& scan) {
  const auto list = services.folder.read(parts_of(scan, {"result", "result.json"}), kMostListBytes);
  return list ? core::sha256_of(*list).substr(0, 32) : "";
}

Response ticks(const Services& services, const Request& request, const ScanOfBowl& scan) {
  const std::string key = ticks_key(services, scan);
  if (key.empty()) return plain(404, "nothing is measured yet");
  const fs::path file = services.folder.scan_path(scan.bowl, scan.key) / "ticks.json";
  if (request.method == "POST") {
    std::map<std::string, std::string> fields = form_fields(request.body);
    services.ticks.set(file, key, fields["id"], fields["on"] == "1");
  }
  return json_answer(dumped({{"on", services.ticks.of(file, key)}}));
}

// The page that measuring wrote: its scripts run, in a world of its own, without cookie or way back.
Response report_page(const Services& services, const ScanOfBowl& scan) {
  Response response =
      file_answer(services.folder, page_of_result(services.folder, scan), "text/html; charset=utf-8");
  response.headers.emplace_back(
      "Content-Security-Policy",
      "sandbox allow-scripts allow-modals; default-src 'none'; img-src data:; style-src "
      "'unsafe-inline'; script-src 'unsafe-inline'; frame-ancestors 'self'");
  return response;
}

Response result_file(const Services& services, const std::string& name, const ScanOfBowl& scan) {
  const std::string save_as = scan.bowl + "-" + scan.key + "-" + name;
  if (name == "report.html")
    return file_answer(services.folder, page_of_result(services.folder, scan), "text/html; charset=utf-8",
                       save_as);
  constexpr std::pair<const char*, const char*> kFiles[] = {{"fit.json", "application/json"},
                                                            {"pour.json", "application/json"},
                                                            {"seams.csv", "text/csv; charset=utf-8"},
                                                            {"cloud.ply", "application/octet-stream"}};
  for (const auto& [file, type] : kFiles) {
    if (name == file) return file_answer(services.folder, parts_of(scan, {"result", name}), type, save_as);
  }
  return plain(404, "there is no such file");
}

Response told(const Services& services, const Request& request, const Bowl& bowl, const ScanOfBowl& scan) {
  const std::string what = request.parts.size() == 5 ? request.parts[4] : "";
  const std::string place = "/b/" + bowl.key + "/s/" + scan.key;
  if (what == "slice") return take_slice(services, request, scan);
  if (what == "aside" || what == "back") return move_photo(services, request, scan, what == "back");
  if (what == "ticks") return ticks(services, request, scan);
  if (what == "measure")
    return order_job(services, request, measuring_order(services.folder, bowl, scan), place);
  if (what == "keep") {
    std::string wood = form_fields(request.body)["wood"];
    if (!wood.empty()) wood = core::checked_name(wood, "wood", 120);
    return order_job(services, request, keeping_order(services.folder, bowl, scan, wood), "/work");
  }
  return plain(404, "there is no such thing to do");
}

}  // namespace

std::string job_json(const Job& job) {
  Json j = {{"id", job.id},
            {"words", job.order.words},
            {"state", name_of(job.state)},
            {"message", job.message},
            {"stage", job.stage}};
  if (job.share) j["share"] = *job.share;
  if (job.seconds_left) j["seconds_left"] = *job.seconds_left;
  std::string place = "/b/" + job.order.bowl;
  if (!job.order.scan.empty()) place += "/s/" + job.order.scan;
  j["place"] = place;
  return dumped(j);
}

std::string scan_state(const Services& services, const ScanOfBowl& scan) {
  const CheckedScan checked = services.checks.of(scan);
  const Dial dial = without_faulty(checked);
  const ViewCoverage coverage = coverage_of(dial);
  Json state;
  state["photos"] = Json::array();
  for (const CheckedPhoto& photo : checked.photos)
    state["photos"].push_back(photo_json(photo, dial, coverage));
  state["aside"] = services.folder.files_in(services.folder.scan_path(scan.bowl, scan.key) / "set-aside");
  state["dial"] = dial_svg(dial, coverage);
  state["placed"] = dial.standpoints.size();
  state["card_at_twelve"] = dial.card_at_twelve;
  state["missing"] = Json::array();
  for (const MissingView& view : coverage.missing) state["missing"].push_back(words_of(view));
  state["enough"] = coverage.enough;
  state["whole"] = checked.whole;
  const bool has_page = scan.kind == ScanKind::ring || scan.kind == ScanKind::poured;
  const auto job = services.jobs.last_of(scan.bowl, scan.key, measuring_kind(scan.kind));
  if (has_page && is_measured(services.folder, scan)) {
    state["leads_to"] = {{"place", "/b/" + scan.bowl + "/s/" + scan.key + "/result"}, {"words", "Result"}};
  } else if (!has_page && job && job->state == JobState::done) {
    const bool traced = scan.kind == ScanKind::drawn;
    state["leads_to"] = {{"place", "/b/" + scan.bowl + (traced ? "/names" : "")},
                         {"words", traced ? "Name the pieces" : "On with the bowl"}};
  }
  if (job) state["job"] = Json::parse(job_json(*job));
  return dumped(state);
}

Response answer_for_scan(const Services& services, const Request& request, const Bowl& bowl,
                         const ScanOfBowl& scan) {
  if (request.method == "POST") return told(services, request, bowl, scan);
  Response page;
  if (request.parts.size() == 4) {
    page.body = scan_page(bowl, scan);
    return page;
  }
  const std::string& what = request.parts[4];
  if (request.parts.size() == 5) {
    if (what == "state") return json_answer(scan_state(services, scan));
    if (what == "ticks") return ticks(services, request, scan);
    if (what == "report") return report_page(services, scan);
    if (what == "result" && is_measured(services.folder, scan)) {
      page.body = result_page(bowl, scan);
      return page;
    }
  }
  if (request.parts.size() == 6) {
    const std::string& name = request.parts[5];
    if (what == "get") return result_file(services, name, scan);
    if (!is_photo_name(name)) return plain(404, "there is no such photo");
    if (what == "small")
      return file_answer(services.folder, parts_of(scan, {"checks", name + ".jpg"}), "image/jpeg");
    if (what == "photo")
      return file_answer(services.folder, parts_of(scan, {"photos", name}), type_of_photo(name));
  }
  return plain(404, "there is no such page");
}

}  // namespace interstice::bench
