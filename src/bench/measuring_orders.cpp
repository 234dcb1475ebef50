#include "bench/measuring_orders.h"

#include <fmt/core.h>

#include "bench/naming.h"
#include "core/errors.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

std::string number(double x) {
  return fmt::format("{:.4g}", x);
}

std::string plan_of(const Folder& folder, const Bowl& bowl) {
  const fs::path plan = folder.bowl_path(bowl.key) / "plan.json";
  std::error_code ec;
  if (!fs::exists(plan, ec)) throw core::InputError(bowl.name, "has no plan yet");
  return plan.string();
}

std::vector<ScanOfBowl> measured_rings(const Folder& folder, const Bowl& bowl) {
  std::vector<ScanOfBowl> rings = folder.scans(bowl.key);
  std::erase_if(rings,
                [&](const ScanOfBowl& s) { return s.kind != ScanKind::ring || !is_measured(folder, s); });
  return rings;
}

// What the photos of each kind are given to, without what all have in common.
std::vector<std::string> first_step(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan) {
  const fs::path path = folder.scan_path(scan.bowl, scan.key), of_bowl = folder.bowl_path(bowl.key);
  const std::string photos = (path / "photos").string(), result = (path / "result").string();
  switch (scan.kind) {
    case ScanKind::ring:
      return {"inspect", photos, "--plan", plan_of(folder, bowl), "--out", result, "--replace"};
    case ScanKind::poured: {
      const std::vector<ScanOfBowl> rings = measured_rings(folder, bowl);
      if (rings.empty())
        throw core::InputError(bowl.name,
                               "has no measured ring yet; what is new in the seams is "
                               "seen by what was measured before the pour");
      const fs::path dry = folder.scan_path(bowl.key, rings.back().key) / "result";
      return {"refill", photos, "--after", dry.string(), "--out", result, "--replace"};
    }
    case ScanKind::drawn:
      return {"plan",
              "trace",
              photos,
              "--out",
              (of_bowl / "plan.json").string(),
              "--name",
              bowl.name,
              "--unrolled",
              unrolled_picture(folder, bowl).string()};
    case ScanKind::form:
      return {"plan", "form", photos, "--out", (of_bowl / "form.json").string(), "--name", bowl.name};
    case ScanKind::lens:
      break;
  }
  return {"lens", photos, "--out",
          (folder.root() / "lenses" / (scan.bowl + "-" + scan.key + ".lens.json")).string()};
}

}  // namespace

std::optional<fs::path> plan_to_measure_by(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan) {
  fs::path plan = folder.bowl_path(bowl.key) / "plan.json";
  if (scan.kind == ScanKind::poured) {
    const std::vector<ScanOfBowl> rings = measured_rings(folder, bowl);
    if (rings.empty()) return std::nullopt;
    plan = folder.scan_path(bowl.key, rings.back().key) / "result" / "plan.json";
  } else if (scan.kind != ScanKind::ring) {
    return std::nullopt;
  }
  std::error_code ec;
  return fs::exists(plan, ec) ? std::optional<fs::path>(plan) : std::nullopt;
}

std::string lens_of(const Folder& folder, const Bowl& bowl) {
  return bowl.lens.empty() ? "" : (folder.root() / "lenses" / bowl.lens).string();
}

std::string kept_of(const Folder& folder, const ScanOfBowl& scan) {
  return (folder.scan_path(scan.bowl, scan.key) / "kept").string();
}

bool is_measured(const Folder& folder, const ScanOfBowl& scan) {
  std::error_code ec;
  return fs::exists(folder.scan_path(scan.bowl, scan.key) / "result" / "result.json", ec);
}

std::vector<std::string> page_of_result(const Folder& folder, const ScanOfBowl& scan) {
  const fs::path path = folder.scan_path(scan.bowl, scan.key);
  std::error_code no_page, no_result;
  const auto page = fs::last_write_time(path / "report.html", no_page);
  const auto result = fs::last_write_time(path / "result" / "result.json", no_result);
  const std::vector<std::string> front{"bowls", scan.bowl, "scans", scan.key};
  std::vector<std::string> parts = front;
  if (no_page || page < result) parts.push_back("result");
  parts.push_back("report.html");
  return parts;
}

const char* measuring_kind(ScanKind kind) {
  return kind == ScanKind::ring ? "measure" : name_of(kind);
}

const char* measuring_words(ScanKind kind) {
  switch (kind) {
    case ScanKind::ring:
      return "Measure";
    case ScanKind::poured:
      return "Look for hollows";
    case ScanKind::drawn:
      return "Trace the pieces";
    case ScanKind::form:
      return "Measure the form";
    case ScanKind::lens:
      break;
  }
  return "Calibrate";
}

JobOrder measuring_order(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan) {
  const fs::path path = folder.scan_path(scan.bowl, scan.key);
  JobOrder order{measuring_kind(scan.kind),
                 bowl.key,
                 scan.key,
                 std::string(measuring_words(scan.kind)) + ": " + scan.name + " of " + bowl.name,
                 0,
                 {}};
  order.photos = folder.files_in(path / "photos").size();
  if (order.photos == 0) throw core::InputError(scan.name, "has no photos yet");
  std::vector<std::string> first = first_step(folder, bowl, scan);
  if (!bowl.lens.empty() && scan.kind != ScanKind::lens)
    first.insert(first.end(), {"--lens", lens_of(folder, bowl)});
  if (plan_to_measure_by(folder, bowl, scan)) first.insert(first.end(), {"--kept", kept_of(folder, scan)});
  if (bowl.check_line_mm) first.insert(first.end(), {"--check-line", number(*bowl.check_line_mm)});
  first.push_back("--progress");
  order.steps.push_back(first);
  if (scan.kind != ScanKind::ring) return order;
  std::vector<std::string> page{"report", (path / "result").string(), "--progress", "--out",
                                (path / "report.html").string()};
  bool has_earlier = false;
  for (const ScanOfBowl& earlier : measured_rings(folder, bowl)) {
    if (earlier.key >= scan.key) break;
    page.insert(page.end(), {"--before", (folder.scan_path(bowl.key, earlier.key) / "result").string()});
    has_earlier = true;
  }
  if (has_earlier) order.steps.push_back(page);
  return order;
}

JobOrder patterns_order(const Folder& folder, const Bowl& bowl) {
  return {"patterns",
          bowl.key,
          "",
          "Cutting patterns of " + bowl.name,
          0,
          {{"plan", "patterns", plan_of(folder, bowl), "--out",
            (folder.bowl_path(bowl.key) / "patterns.pdf").string(), "--progress"}}};
}

JobOrder layout_order(const Folder& folder, const Bowl& bowl, const fs::path& form,
                      const LayoutWanted& wanted) {
  std::vector<std::string> make{"plan",
                                "make",
                                form.string(),
                                "--out",
                                (folder.bowl_path(bowl.key) / "plan.json").string(),
                                "--name",
                                bowl.name,
                                "--smallest-fill",
                                number(wanted.smallest_fill_mm),
                                "--progress"};
  if (wanted.thickness_mm > 0) make.insert(make.end(), {"--thickness", number(wanted.thickness_mm)});
  if (wanted.piece_size_mm > 0) make.insert(make.end(), {"--piece-size", number(wanted.piece_size_mm)});
  return {"layout", bowl.key, "", "Laying out " + bowl.name, 0, {make}};
}

JobOrder keeping_order(const Folder& folder, const Bowl& bowl, const ScanOfBowl& scan,
                       const std::string& wood) {
  const fs::path path = folder.scan_path(scan.bowl, scan.key);
  if (!is_measured(folder, scan)) throw core::InputError(scan.name, "is not measured yet");
  std::vector<std::string> add{"archive",
                               "add",
                               (path / "result").string(),
                               "--photos",
                               (path / "photos").string(),
                               "--name",
                               bowl.name,
                               "--note",
                               scan.name,
                               "--archive",
                               (folder.root() / "archive").string(),
                               "--progress"};
  if (!wood.empty()) add.insert(add.end(), {"--wood", wood});
  return {"keep", bowl.key, scan.key, "Keeping " + scan.name + " of " + bowl.name, 0, {add}};
}

}  // namespace interstice::bench
