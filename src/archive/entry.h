// One entry of an archive: a scan of a piece at one moment, as its bag tells it.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "seams/fit_document.h"

namespace interstice::archive {

// No file of this kind that an archive wrote is longer.
inline constexpr std::uintmax_t kMaxNotesBytes = 1u << 20;

// What had been done to the piece when it was photographed.
enum class PieceStage { glued, poured, turned, finished };
const char* name_of(PieceStage stage);
PieceStage piece_stage(const std::string& name, const std::string& what);  // throws InputError(what, ...)

struct KeptSeam {
  std::array<std::string, 2> tiles;
  std::array<int, 2> rings{1, 1};
  seams::Verdict verdict = seams::Verdict::unseen;
  std::optional<double> narrowest_mm, u95_mm;
  std::optional<double> planned_mm;  // narrowest mouth the plan means to leave
  std::optional<double> throat_mm = std::nullopt, throat_u95_mm = std::nullopt;  // behind the mouth
};

struct KeptFile {
  std::string path;  // below data/
  std::uintmax_t bytes = 0;
  std::string sha256;
};

struct Entry {
  std::string id;    // name of the bag's folder
  std::string name;  // of the piece; the rings of one piece share it
  std::string date;  // of the scan, 2026-03-14
  std::string wood;
  PieceStage stage = PieceStage::glued;
  int ring = 0;  // the last ring with a piece on it
  double smallest_fill_mm = 3, planned_gap_mm = 0;
  std::optional<double> smallest_mm, smallest_u95_mm;                   // the narrowest of the seen seams
  int pieces = 0;                                                       // placed
  int too_tight = 0, pinched = 0, doubtful = 0, clear = 0, unseen = 0;  // seams
  std::uintmax_t payload_bytes = 0;
  std::size_t payload_files = 0;
  std::string notes;
  std::vector<KeptSeam> seams;
  std::vector<KeptFile> files;
};

// Fills the parts that follow from the measurement: ring (if 0), smallest width, counts, seams.
void describe_fit(const seams::FitDocument& fit, Entry& entry);

// Reads everything from a bag without checking digests. Throws InputError for a folder that is not one of
// ours.
Entry read_entry(const std::filesystem::path& bag);

}  // namespace interstice::archive
