#include "archive/entry.h"

#include <algorithm>
#include <map>

#include "archive/bag.h"
#include "archive/names.h"
#include "core/errors.h"
#include "core/files.h"
#include "solid/piece_body.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::array kStages{"glued", "poured", "turned", "finished"};

void require_plain_file(const fs::path& path) {
  std::error_code ec;
  const fs::file_status status = fs::symlink_status(path, ec);
  if (fs::is_symlink(status))
    throw core::InputError(path.string(), "is a symbolic link; a bag holds only files");
}

std::string read_plain(const fs::path& path, std::uintmax_t max_bytes) {
  require_plain_file(path);
  return core::read_file(path, max_bytes);
}

std::string wanted(const BagInfo& info, const std::string& label, const fs::path& file) {
  const std::optional<std::string> value = info.first(label);
  if (!value) throw core::InputError(file.string(), "\"" + label + "\" is missing");
  return *value;
}

std::vector<KeptFile> listed_files(const fs::path& bag) {
  const fs::path manifest = bag / "manifest-sha256.txt";
  std::vector<KeptFile> files;
  for (const auto& [path, digest] :
       parse_manifest(read_plain(manifest, kMaxTagBytes), 64, manifest.string())) {
    if (path.rfind("data/", 0) != 0)
      throw core::InputError(manifest.string(), "lists a file that is not below data/");
    std::error_code ec;
    const std::uintmax_t bytes = fs::file_size(bag / path, ec);
    files.push_back({path.substr(5), ec ? 0 : bytes, digest});
  }
  return files;
}

void add_planned_widths(const fs::path& plan_file, Entry& entry) {
  require_plain_file(plan_file);
  const plan::Plan plan = plan::read_plan(plan_file);
  entry.planned_gap_mm = plan.planned_gap_mm;
  std::map<std::pair<std::string, std::string>, double> mouth_mm;
  for (const solid::PlannedSeam& seam : solid::planned_seams(solid::planned_bodies(plan))) {
    const std::string &a = plan.tiles[seam.a].label, &b = plan.tiles[seam.b].label;
    mouth_mm[std::minmax(a, b)] = seam.mouth_mm;
  }
  for (KeptSeam& seam : entry.seams) {
    const auto it = mouth_mm.find(std::minmax(seam.tiles[0], seam.tiles[1]));
    if (it != mouth_mm.end()) seam.planned_mm = it->second;
  }
}

}  // namespace

const char* name_of(PieceStage stage) {
  return kStages[static_cast<std::size_t>(stage)];
}

PieceStage piece_stage(const std::string& name, const std::string& what) {
  for (std::size_t i = 0; i < kStages.size(); ++i) {
    if (name == kStages[i]) return static_cast<PieceStage>(i);
  }
  throw core::InputError(
      what, "\"" + core::one_line(name, 40) + "\" is not one of glued, poured, turned, finished");
}

void describe_fit(const seams::FitDocument& fit, Entry& entry) {
  std::map<std::string, int> ring_of;
  int last_ring = 0;
  for (const seams::FitTile& tile : fit.tiles) {
    ring_of[tile.label] = tile.ring;
    if (tile.state != plan::TileState::placed) continue;
    ++entry.pieces;
    last_ring = std::max(last_ring, tile.ring);
  }
  if (entry.ring == 0) entry.ring = std::max(1, last_ring);
  entry.smallest_fill_mm = fit.smallest_fill_mm;
  for (const seams::FitSeam& seam : fit.seams) {
    const auto ring = [&](const std::string& label) {
      const auto it = ring_of.find(label);
      return it == ring_of.end() ? 1 : it->second;
    };
    entry.seams.push_back({seam.tiles,
                           {ring(seam.tiles[0]), ring(seam.tiles[1])},
                           seam.verdict,
                           seam.narrowest_mm,
                           seam.u95_mm,
                           std::nullopt,
                           seam.throat_mm,
                           seam.throat_u95_mm});
    entry.too_tight += seam.verdict == seams::Verdict::too_tight;
    entry.pinched += seam.verdict == seams::Verdict::pinched;
    entry.doubtful += seam.verdict == seams::Verdict::doubtful;
    entry.clear += seam.verdict == seams::Verdict::clear;
    entry.unseen += seam.verdict == seams::Verdict::unseen;
    if (seam.narrowest_mm && (!entry.smallest_mm || *seam.narrowest_mm < *entry.smallest_mm)) {
      entry.smallest_mm = seam.narrowest_mm;
      entry.smallest_u95_mm = seam.u95_mm;
    }
  }
}

Entry read_entry(const fs::path& bag) {
  const fs::path info_file = bag / "bag-info.txt";
  const BagInfo info = parse_bag_info(read_plain(info_file, kMaxTagBytes), info_file.string());
  const std::string at = info_file.string();
  Entry entry;
  entry.id = bag.filename().string();
  const std::string format = wanted(info, "Interstice-Format", info_file);
  if (format != "1")
    throw core::InputError(at, "Interstice-Format " + core::one_line(format, 20) + " is not understood");
  entry.name = core::checked_name(wanted(info, "Interstice-Name", info_file), at + ": Interstice-Name");
  entry.date = checked_date(wanted(info, "Interstice-Date", info_file), at + ": Interstice-Date");
  entry.stage = piece_stage(wanted(info, "Interstice-Stage", info_file), at + ": Interstice-Stage");
  if (const auto wood = info.first("Interstice-Wood"))
    entry.wood = core::checked_name(*wood, at + ": Interstice-Wood");
  const std::string ring = wanted(info, "Interstice-Ring", info_file);
  if (ring.empty() || ring.size() > 4 || ring.find_first_not_of("0123456789") != std::string::npos) {
    throw core::InputError(at, "Interstice-Ring is not a number");
  }
  entry.ring = std::stoi(ring);
  entry.files = listed_files(bag);
  for (const KeptFile& file : entry.files) entry.payload_bytes += file.bytes;
  entry.payload_files = entry.files.size();
  const fs::path data = bag / "data";
  require_plain_file(data);
  require_plain_file(data / "fit.json");
  describe_fit(seams::read_fit(data / "fit.json"), entry);
  add_planned_widths(data / "plan.json", entry);
  if (fs::exists(data / "notes.txt")) entry.notes = read_plain(data / "notes.txt", kMaxNotesBytes);
  return entry;
}

}  // namespace interstice::archive
