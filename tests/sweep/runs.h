// One run: render a scan, inspect it with the real program, join what it says with the truth.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "renderer/options.h"

namespace interstice::sweep {

struct SeamResult {
  double true_mm = 0;
  std::optional<double> measured_mm, u95_mm;  // nothing when not measured
  std::string verdict;
  int lower_ring = 0, upper_ring = 0;  // of its two pieces, 1 at the rim; 0: not known
};

struct RunResult {
  int exit_code = 0;
  double smallest_fill_mm = 3;
  std::vector<SeamResult> seams;  // true mouth up to 8 mm, shared length from 5 mm
};

struct Programs {
  std::filesystem::path interstice;
  std::filesystem::path work;  // everything is written below this folder
  bool again = false;          // measure again what has been measured
  int threads = 1;             // of the renderer and the program

  Programs measured_once() const {
    Programs p = *this;
    p.again = false;
    return p;
  }
};

// Runs a program; its exit code. Throws InputError when it cannot be started.
int call(const std::vector<std::string>& words);

// What a careful maker reads on the printed check line of this scene.
std::string check_line(const renderer::SceneOptions& scene);

// A lens file for this camera, calibrated by the program from rendered photos of a card; made once.
std::filesystem::path calibrated_lens(const Programs& programs, const renderer::CameraOptions& camera);

// Renders below work/name unless that scan is already there.
void render(const Programs& programs, const std::string& name, const renderer::SceneOptions& scene);

// Renders and inspects below work/name unless its result is already there.
RunResult run(const Programs& programs, const std::string& name, const renderer::SceneOptions& scene,
              const std::filesystem::path& lens);

// Joins fit.json with truth.json by the pairs of labels.
RunResult joined(const std::string& fit_json, const std::string& truth_json);

}  // namespace interstice::sweep
