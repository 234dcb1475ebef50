#include "bench/bowl_answers.h"

#include <algorithm>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/bowl_pages.h"
#include "bench/measuring_orders.h"
#include "bench/naming.h"
#include "bench/plan_sketch.h"
#include "camera/lens.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr std::size_t kMostDocumentBytes = 64u << 20;
constexpr const char* kFormEndings[] = {"csv", "txt", "svg", "dxf", "json"};

// A number as people type it, with point or comma; nothing for anything else.
std::optional<double> typed_number(std::string text, double low, double high) {
  for (char& c : text) {
    if (c == ',') c = '.';
  }
  try {
    std::size_t end = 0;
    const double x = std::stod(text, &end);
    if (end == text.size() && x >= low && x <= high) return x;
  } catch (const std::exception&) {
  }
  return std::nullopt;
}

// What a measured scan says, in words.
std::string answer_of(const Services& services, const ScanOfBowl& scan) {
  const auto job = services.jobs.last_of(scan.bowl, scan.key, measuring_kind(scan.kind));
  if (job && !is_over(job->state))
    return job->state == JobState::running ? "Being measured" : "Waits its turn";
  const auto text =
      services.folder.read({"bowls", scan.bowl, "scans", scan.key, "result", "fit.json"}, kMostDocumentBytes);
  if (!text) return job ? job->message : "";
  if (scan.kind != ScanKind::ring) return "Looked at.";
  try {
    const nlohmann::json document = core::parse_json(*text, "fit.json");
    const core::JsonNode seams = core::JsonNode(document, "fit.json").at("seams");
    std::map<std::string, std::size_t> counts;
    for (std::size_t i = 0; i < seams.size(); ++i) counts[seams.at(i).at("verdict").text()] += 1;
    if (counts["clear"] == seams.size()) return "Every seam is clear.";
    std::string words;
    for (const char* verdict : {"too tight", "pinched", "doubtful", "unseen"}) {
      if (counts[verdict] == 0) continue;
      words += (words.empty() ? "" : ", ") + std::to_string(counts[verdict]) + " " + verdict;
    }
    return std::to_string(seams.size()) + " seams: " + words + ".";
  } catch (const core::InputError&) {
    return "The result cannot be read.";
  }
}

std::optional<std::string> plan_text(const Services& services, const Bowl& bowl) {
  return services.folder.read({"bowls", bowl.key, "plan.json"}, kMostDocumentBytes);
}

std::size_t photos_of(const Services& services, const ScanOfBowl& scan) {
  return services.folder.files_in(services.folder.scan_path(scan.bowl, scan.key) / "photos").size();
}

BowlPage page_of(const Services& services, const Bowl& bowl) {
  BowlPage page;
  page.bowl = bowl;
  if (const auto plan = plan_text(services, bowl)) {
    page.has_plan = true;
    try {
      const PlanSketch sketch = sketch_plan(*plan, "plan.json");
      page.sketch = sketch.svg;
      page.about = sketch.about;
    } catch (const core::InputError& e) {
      page.about = "The plan cannot be read.";
    }
  }
  page.has_form = static_cast<bool>(services.folder.open({"bowls", bowl.key, "form.json"}));
  page.has_patterns = static_cast<bool>(services.folder.open({"bowls", bowl.key, "patterns.pdf"}));
  page.may_be_named = page.has_plan && may_be_named(services.folder, bowl);
  page.has_labels = static_cast<bool>(services.folder.open({"bowls", bowl.key, "labels.csv"}));
  page.lenses = services.folder.lenses();
  for (const ScanOfBowl& scan : services.folder.scans(bowl.key)) {
    page.scans.push_back(
        {scan, photos_of(services, scan), is_measured(services.folder, scan), answer_of(services, scan)});
  }
  std::size_t rings = 0;
  for (const ScanLine& line : page.scans) {
    if (line.scan.kind != ScanKind::ring) continue;
    ++rings;
    page.may_look_after_pour |= line.measured;
  }
  page.next_name = "Ring " + std::to_string(rings + 1);
  return page;
}

Response change_settings(const Services& services, const Request& request, Bowl bowl) {
  std::map<std::string, std::string> fields = form_fields(request.body);
  bowl.check_line_mm.reset();
  if (!fields["check_line"].empty()) {
    bowl.check_line_mm = typed_number(fields["check_line"], 100, 200);
    if (!bowl.check_line_mm) return plain(400, "the check line is a length of 100 to 200 mm, such as 149.6");
  }
  const std::vector<std::string> lenses = services.folder.lenses();
  const bool known = std::find(lenses.begin(), lenses.end(), fields["lens"]) != lenses.end();
  bowl.lens = known ? fields["lens"] : "";
  services.folder.change_bowl(bowl);
  return see_other("/b/" + bowl.key);
}

LayoutWanted wanted_layout(std::map<std::string, std::string> fields) {
  LayoutWanted wanted;
  wanted.thickness_mm = typed_number(fields["thickness"], 1, 200).value_or(0);
  wanted.piece_size_mm = typed_number(fields["piece"], 5, 500).value_or(0);
  wanted.smallest_fill_mm = typed_number(fields["fill"], 0.05, 50).value_or(3);
  return wanted;
}

Response told(const Services& services, const Request& request, const Bowl& bowl) {
  const std::string what = request.parts.size() == 3 ? request.parts[2] : "";
  if (what == "scans") {
    std::map<std::string, std::string> fields = form_fields(request.body);
    const ScanKind kind = scan_kind(fields["kind"]).value_or(ScanKind::ring);
    const ScanOfBowl scan = services.folder.add_scan(bowl.key, fields["name"], kind);
    return see_other("/b/" + bowl.key + "/s/" + scan.key);
  }
  if (what == "layout") {
    const fs::path form = services.folder.bowl_path(bowl.key) / "form.json";
    return order_job(services, request,
                     layout_order(services.folder, bowl, form, wanted_layout(form_fields(request.body))),
                     "/b/" + bowl.key);
  }
  if (what == "settings") return change_settings(services, request, bowl);
  if (what == "patterns")
    return order_job(services, request, patterns_order(services.folder, bowl), "/b/" + bowl.key);
  return plain(404, "there is no such thing to do");
}

// The form is kept beside the plan that is laid out over it.
Response lay_out(const Services& services, const Request& request, const Bowl& bowl) {
  std::string ending = "csv";
  for (const char* known : kFormEndings) {
    if (request.asked("ending") == known) ending = known;
  }
  const fs::path form = services.folder.bowl_path(bowl.key) / ("form." + ending);
  core::write_new_file(form, request.body);
  services.jobs.add(layout_order(services.folder, bowl, form, wanted_layout(request.query)));
  return json_answer("{\"place\":\"/b/" + bowl.key + "\"}");
}

}  // namespace

Response bowls_answer(const Services& services) {
  std::vector<BowlLine> lines;
  for (const Bowl& bowl : services.folder.bowls()) {
    BowlLine line{bowl, 0, 0, ""};
    const std::vector<ScanOfBowl> scans = services.folder.scans(bowl.key);
    line.scans = scans.size();
    if (!scans.empty()) {
      const std::string answer = answer_of(services, scans.back());
      line.last = scans.back().name + (answer.empty() ? "" : ": " + answer);
    }
    lines.push_back(line);
  }
  Response page;
  page.body = bowls_page(lines);
  return page;
}

Response new_bowl_answer(const Services& services, const Request& request) {
  if (request.method != "POST") {
    Response page;
    page.body = new_bowl_page();
    return page;
  }
  const std::string from = request.asked("from");
  const bool has_plan = from != "form" && from != "photos";
  if (has_plan) sketch_plan(request.body, "the plan");  // refused before anything is made
  const Bowl bowl = services.folder.add_bowl(request.asked("name"), has_plan ? request.body : "");
  services.log("new bowl: " + bowl.key);
  if (from == "form") return lay_out(services, request, bowl);
  return json_answer("{\"place\":\"/b/" + bowl.key + "\"}");
}

Response new_lens_answer(const Services& services, const Request& request) {
  camera::parse_lens(request.body, "the lens file");
  std::string name = request.asked("name");
  const std::string tail = ".lens.json";
  if (name.size() > tail.size() && name.ends_with(tail)) name.resize(name.size() - tail.size());
  const std::string file = services.folder.add_lens(name.empty() ? "phone" : name, request.body);
  return json_answer("{\"lens\":\"" + file + "\"}");
}

Response answer_for_bowl(const Services& services, const Request& request, const Bowl& bowl) {
  constexpr const char* kNaming[] = {"names", "labels.csv", "unrolled.png"};
  if (request.parts.size() == 3 &&
      std::find(std::begin(kNaming), std::end(kNaming), request.parts[2]) != std::end(kNaming))
    return naming_answer(services, request, bowl);
  if (request.method == "POST") return told(services, request, bowl);
  if (request.parts.size() == 2) {
    Response page;
    page.body = bowl_page(page_of(services, bowl));
    return page;
  }
  const std::string& what = request.parts[2];
  if (request.parts.size() == 3 && what == "plan.json")
    return file_answer(services.folder, {"bowls", bowl.key, "plan.json"}, "application/json",
                       bowl.key + "-plan.json");
  if (request.parts.size() == 3 && what == "patterns.pdf")
    return file_answer(services.folder, {"bowls", bowl.key, "patterns.pdf"}, "application/pdf");
  return plain(404, "there is no such page");
}

}  // namespace interstice::bench
