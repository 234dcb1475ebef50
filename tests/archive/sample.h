// Made-up results of a measurement, for trying the archive on.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <utility>

#include "archive/archive.h"
#include "plan/plan.h"
#include "seams/fit_document.h"

namespace interstice::sample {

// A folder for one test, removed with everything in it at the end.
class Scratch {
 public:
  Scratch();
  ~Scratch();
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

// Rings of pieces on a half sphere of 100 mm radius, `gap_mm` apart on the form.
plan::Plan plan(int rings = 3, int pieces_a_ring = 8, double gap_mm = 4.0);

struct Build {
  unsigned seed = 1;
  double place_sd_mm = 0.3;  // of each piece, along the ring and towards the pole
  double turn_sd_deg = 0.4;
  double off_mm = 0;          // taken off every face
  double noise_sd_mm = 0;     // of every arris point
  double arris_sd_mm = 0.04;  // as the document states it
  double u95_mm = 0.1;        // of every seam
};

// The plan's pieces put up a little off their places, with the seams that follow.
seams::FitDocument built(const plan::Plan& plan, const Build& build = {});

// fit.json, plan.json and what an inspection leaves beside them. `scan_files` small files go into scan/.
void write_results(const std::filesystem::path& folder, const plan::Plan& plan, const seams::FitDocument& fit,
                   int scan_files = 3);

// A JPEG of `side` pixels whose content follows from `seed`; with_location puts a GPS position into its EXIF.
std::string photo(unsigned seed, bool with_location = false, int side = 64);

void write_file(const std::filesystem::path& path, const std::string& bytes);
std::string file_bytes(const std::filesystem::path& path);

archive::AddRequest request(const std::filesystem::path& results, const std::string& name);

// Every file below a folder with its content.
std::map<std::string, std::string> contents(const std::filesystem::path& folder);

// Runs a shell command; its exit code and everything it printed.
std::pair<int, std::string> shell(const std::string& command);

// Asserts (by gtest's means) that the archive is whole: every bag verifies, the index says the same as the
// bags, and nothing else than entries stands in bags/. Returns the ids.
std::vector<std::string> expect_whole(const std::filesystem::path& root);

}  // namespace interstice::sample
