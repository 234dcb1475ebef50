#include "bench/checks.h"

#include <algorithm>

#include "bench/measuring_orders.h"
#include "bench/worker.h"
#include "core/errors.h"
#include "core/json_reader.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr int kTries = 2;  // a reader may have gone down over another photo
constexpr std::size_t kMostCheckBytes = 4 << 20;

std::vector<std::string> texts(const core::JsonNode& node) {
  std::vector<std::string> all;
  for (std::size_t i = 0; i < node.size(); ++i) all.push_back(node.at(i).text());
  return all;
}

// The reason a worker gives; empty when it did its work.
std::string fault_of(const std::optional<std::string>& answer) {
  if (!answer) return "it cannot be read: its reader stopped; set it aside";
  try {
    const nlohmann::json document = core::parse_json(*answer, "answer");
    const core::JsonNode node(document, "answer");
    return node.at("ok").boolean() ? "" : node.at("fault").text(1000);
  } catch (const core::InputError& e) {
    return e.what();
  }
}

}  // namespace

double Checks::smallest_fill_mm(const std::string& bowl) const {
  try {
    const nlohmann::json plan = core::read_json(folder_.bowl_path(bowl) / "plan.json");
    return core::JsonNode(plan, "plan.json").at("smallest_fill").number(0.05, 50);
  } catch (const core::InputError&) {
    return 3.0;  // common practice, as the plan's default
  }
}

CheckedPhoto Checks::read_check(const ScanOfBowl& scan, const std::string& photo) const {
  CheckedPhoto checked{photo, false, 0, {}, {}};
  const auto text =
      folder_.read({"bowls", scan.bowl, "scans", scan.key, "checks", photo + ".json"}, kMostCheckBytes);
  if (!text) return checked;
  try {
    const nlohmann::json document = core::parse_json(*text, photo);
    const core::JsonNode node(document, photo);
    checked.cards = static_cast<int>(node.at("cards").size());
    checked.faults = texts(node.at("faults"));
    checked.notes = texts(node.at("notes"));
    checked.checked = true;
  } catch (const core::InputError&) {
  }
  return checked;
}

CheckedScan Checks::of(const ScanOfBowl& scan) {
  const std::vector<std::string> names = folder_.files_in(folder_.scan_path(scan.bowl, scan.key) / "photos");
  const double fill = smallest_fill_mm(scan.bowl);
  CheckedScan out;
  std::vector<std::string> to_check, of_dial;
  bool ask_for_dial = false;
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    Known& known = known_[key_of(scan)];
    for (const std::string& name : names) {
      if (!is_photo_name(name)) continue;
      CheckedPhoto& photo = known.photos[name];
      if (photo.name.empty()) photo = read_check(scan, name);
      if (!photo.checked && known.asked[name] == 0) {
        known.asked[name] = 1;
        to_check.push_back(name);
      }
      if (photo.checked && photo.cards > 0) of_dial.push_back(name);
      out.photos.push_back(photo);
    }
    out.whole =
        std::all_of(out.photos.begin(), out.photos.end(), [](const CheckedPhoto& p) { return p.checked; }) &&
        of_dial == known.dial_of;
    ask_for_dial = of_dial != known.dial_of && !known.dial_asked;
    if (ask_for_dial) known.dial_asked = true;
    out.dial = known.dial;
  }
  for (const std::string& name : to_check) ask_check(scan, name, fill);
  if (to_check.empty()) {
    for (const std::string& name : of_dial) preparing_.photo_seen(scan, name);
  }
  if (ask_for_dial) ask_dial(scan, of_dial);
  return out;
}

void Checks::ask_check(const ScanOfBowl& scan, const std::string& photo, double fill) {
  const fs::path folder = folder_.scan_path(scan.bowl, scan.key);
  const nlohmann::ordered_json question = {{"do", "check"},
                                           {"photo", (folder / "photos" / photo).string()},
                                           {"smallest_fill_mm", fill},
                                           {"check", (folder / "checks" / (photo + ".json")).string()},
                                           {"small", (folder / "checks" / (photo + ".jpg")).string()}};
  workers_.ask(question.dump(), WorkerPool::Haste::soon, [=, this](const std::optional<std::string>& answer) {
    const std::string fault = fault_of(answer);
    CheckedPhoto checked = read_check(scan, photo);
    bool again = false;
    {
      const std::lock_guard<std::mutex> lock(mutex_);
      Known& known = known_[key_of(scan)];
      again = !answer && ++known.asked[photo] <= kTries;
      if (!checked.checked && !again) checked = {photo, true, 0, {fault}, {}};
      if (!again) known.photos[photo] = checked;
    }
    if (again) ask_check(scan, photo, fill);
    if (!again && checked.cards > 0) preparing_.photo_seen(scan, photo);
  });
}

void Checks::ask_dial(const ScanOfBowl& scan, const std::vector<std::string>& photos) {
  const std::optional<Bowl> bowl = folder_.bowl(scan.bowl);
  const std::string lens = bowl ? lens_of(folder_, *bowl) : "";
  const nlohmann::ordered_json question = {
      {"do", "stand"},
      {"checks", (folder_.scan_path(scan.bowl, scan.key) / "checks").string()},
      {"photos", photos},
      {"lens", lens}};
  workers_.ask(question.dump(), WorkerPool::Haste::soon, [=, this](std::optional<std::string> answer) {
    const std::lock_guard<std::mutex> lock(mutex_);
    Known& known = known_[key_of(scan)];
    known.dial_asked = false;
    known.dial_of = photos;
    known.dial = answer ? parse_dial(*answer) : Dial();
  });
}

}  // namespace interstice::bench
