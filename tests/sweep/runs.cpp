#include "sweep/runs.h"

#include <spawn.h>
#include <sys/wait.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <map>
#include <nlohmann/json.hpp>
#include <tuple>

#include "core/errors.h"
#include "core/files.h"
#include "renderer/scan_folder.h"

extern char** environ;

namespace interstice::sweep {

namespace fs = std::filesystem;

namespace {

constexpr double kWidestScored = 8, kShortestScored = 5;  // mm: what counts as a seam

using Pair = std::pair<std::string, std::string>;

Pair pair_of(const nlohmann::json& seam) {
  Pair p{seam["tiles"][0], seam["tiles"][1]};
  if (p.second < p.first) std::swap(p.first, p.second);
  return p;
}

std::optional<double> number_or_none(const nlohmann::json& seam, const char* key) {
  if (!seam.contains(key) || seam[key].is_null()) return std::nullopt;
  return seam[key].get<double>();
}

}  // namespace

int call(const std::vector<std::string>& words) {
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  pid_t child = 0;
  const int error = posix_spawn(&child, arguments[0], nullptr, nullptr, arguments.data(), environ);
  if (error != 0) throw core::InputError(words[0], std::string("cannot be started: ") + std::strerror(error));
  int status = 0;
  while (waitpid(child, &status, 0) < 0) {
    if (errno != EINTR) throw core::InputError(words[0], "was lost");
  }
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

std::string check_line(const renderer::SceneOptions& scene) {
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", 150 * scene.cards.print_scale);
  return text;
}

fs::path calibrated_lens(const Programs& programs, const renderer::CameraOptions& camera) {
  const fs::path folder = programs.work / "lens", lens = folder / "R1.lens.json";
  if (fs::exists(lens)) return lens;
  renderer::SceneOptions o = renderer::preset("lens");
  const double card_share = o.camera.footprint_mm * o.camera.width_px;  // mm across the picture
  o.camera.width_px = camera.width_px;
  o.camera.height_px = camera.height_px;
  o.camera.footprint_mm = card_share / camera.width_px;
  renderer::write_scan_folder(renderer::make_scene(o), folder);
  std::vector<std::string> words = {programs.interstice.string(), "lens"};
  for (const auto& entry : fs::directory_iterator(folder / "photos")) words.push_back(entry.path().string());
  std::sort(words.begin() + 2, words.end());
  for (const std::string& word : {std::string("--check-line"), check_line(o), std::string("--quiet"),
                                  std::string("--out"), lens.string()}) {
    words.push_back(word);
  }
  if (call(words) != 0) throw core::InputError(lens.string(), "the lens was not calibrated");
  return lens;
}

void render(const Programs& programs, const std::string& name, const renderer::SceneOptions& scene) {
  const fs::path folder = programs.work / name, truth = folder / "truth.json";
  if (fs::exists(truth)) return;
  const fs::path part = programs.work / (name + ".part");  // a broken sweep leaves no half scan
  fs::remove_all(part);
  renderer::SceneOptions options = scene;
  options.sampling.threads = programs.threads;
  renderer::write_scan_folder(renderer::make_scene(options), part);
  fs::rename(part, folder);
}

RunResult run(const Programs& programs, const std::string& name, const renderer::SceneOptions& scene,
              const fs::path& lens) {
  render(programs, name, scene);
  const fs::path folder = programs.work / name, out = folder / "out", code_file = folder / "exit_code";
  if (programs.again || !fs::exists(code_file)) {
    fs::remove_all(out);
    const int code =
        call({programs.interstice.string(), "inspect", (folder / "photos").string(), "--plan",
              (folder / "plan.json").string(), "--lens", lens.string(), "--check-line", check_line(scene),
              "--threads", std::to_string(programs.threads), "--quiet", "--out", out.string()});
    // Maps and clouds of a whole sweep would fill a disk; the photos stay, to be measured again.
    // The picture on the map is what a refill looks at later.
    for (const char* big : {"scan/heights.tif", "scan/agreement.tif", "cloud.ply", "report.html", "marked"})
      fs::remove_all(out / big);
    core::write_file_atomically(code_file, std::to_string(code) + "\n");
  }
  RunResult result;
  const int code = std::stoi(core::read_file(code_file));
  if (code <= 1) {
    result = joined(core::read_file(out / "fit.json"), core::read_file(folder / "truth.json"));
  } else {
    result = joined(R"({"seams": []})", core::read_file(folder / "truth.json"));
  }
  result.exit_code = code;
  return result;
}

RunResult joined(const std::string& fit_json, const std::string& truth_json) {
  const nlohmann::json fit = nlohmann::json::parse(fit_json), truth = nlohmann::json::parse(truth_json);
  std::map<Pair, nlohmann::json> measured;
  for (const auto& seam : fit.at("seams")) measured[pair_of(seam)] = seam;
  std::map<std::string, int> ring;
  for (const auto& tile : truth.value("tiles", nlohmann::json::array())) ring[tile["label"]] = tile["ring"];
  RunResult result;
  result.smallest_fill_mm = truth.at("smallest_fill");
  for (const auto& seam : truth.at("seams")) {
    if (seam["mouth_mm"] > kWidestScored || seam["length_mm"] < kShortestScored) continue;
    SeamResult s;
    s.true_mm = seam["mouth_mm"];
    s.verdict = "not reported";
    const Pair pair = pair_of(seam);
    std::tie(s.lower_ring, s.upper_ring) = std::minmax({ring[pair.first], ring[pair.second]});
    const auto it = measured.find(pair);
    if (it != measured.end()) {
      s.measured_mm = number_or_none(it->second, "narrowest_mm");
      s.u95_mm = number_or_none(it->second, "u95_mm");
      s.verdict = it->second.at("verdict");
    }
    result.seams.push_back(s);
  }
  return result;
}

}  // namespace interstice::sweep
