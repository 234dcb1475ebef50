#include "archive/intake.h"

#include <algorithm>
#include <array>
#include <ctime>

#include "archive/entry.h"
#include "archive/glb.h"
#include "archive/names.h"
#include "archive/preview.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"
#include "core/result_list.h"
#include "plan/plan.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::array kPictureEndings{".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp"};
constexpr std::array kOptionalResults{"seams.csv", "cloud.ply", "pour.json", "refill.json", "report.html"};

bool stands(const fs::path& path) {
  std::error_code ec;
  return fs::exists(fs::symlink_status(path, ec));
}

// A file's own name as the name inside the bag.
std::string kept_name(const fs::path& file) {
  const std::string name = file.filename().string();
  if (const auto fault = path_fault(name))
    throw core::InputError(core::one_line(file.string(), 300), "the name " + *fault);
  return core::checked_name(name, file.string());
}

std::string text_of(const BagWriter& writer, const std::string& path) {
  return core::read_file(writer.payload(path));
}

// Photos, sorted by name; a folder stands for the pictures in it.
std::vector<fs::path> photo_files(const std::vector<fs::path>& given) {
  std::vector<fs::path> out;
  for (const fs::path& path : given) {
    std::error_code ec;
    if (!fs::is_directory(path, ec)) {
      if (!stands(path)) throw core::InputError(path.string(), "no such file");
      out.push_back(path);
      continue;
    }
    const std::size_t before = out.size();
    for (const fs::directory_entry& entry : fs::directory_iterator(path, ec)) {
      if (is_picture(entry.path())) out.push_back(entry.path());
    }
    if (ec) throw core::InputError(path.string(), "cannot be read: " + ec.message());
    if (out.size() == before) throw core::InputError(path.string(), "holds no photos");
  }
  std::sort(out.begin(), out.end());
  return out;
}

// A whole copy of the same content that another entry keeps, if its content is still what the index says.
std::optional<fs::path> twin_of(const fs::path& file, const ArchiveIndex& index, const fs::path& bags) {
  std::error_code ec;
  const std::uintmax_t bytes = fs::file_size(file, ec);
  if (ec || !index.has_file_of_size(bytes)) return std::nullopt;
  const FileFacts facts = facts_of_file(file);
  for (const auto& [id, path] : index.files_with(facts.digests.sha256)) {
    try {
      const fs::path twin = bags / id / "data" / path;
      if (facts_of_file(twin).digests == facts.digests) return twin;
    } catch (const core::InputError&) {
      // Gone or unreadable there: no help to a new entry.
    }
  }
  return std::nullopt;
}

void add_photos(const AddRequest& request, BagWriter& writer, const ArchiveIndex& index, const fs::path& bags,
                Added& added) {
  for (const fs::path& photo : photo_files(request.photos)) {
    const std::string path = "photos/" + kept_name(photo);
    const std::optional<fs::path> twin = twin_of(photo, index, bags);
    if (twin) {
      writer.add_shared(*twin, path);
      ++added.shared_files;
    } else {
      writer.add_copy(photo, path);
    }
  }
}

void add_results(const AddRequest& request, BagWriter& writer, Added& added) {
  const fs::path& from = request.results;
  std::error_code ec;
  if (!fs::is_directory(from, ec)) throw core::InputError(from.string(), "is not a folder of results");
  if (!stands(from / "fit.json"))
    throw core::InputError(from.string(), "holds no fit.json; name the folder inspect wrote");
  writer.add_copy(from / "fit.json", "fit.json");
  for (const char* name : kOptionalResults) {
    if (stands(from / name)) writer.add_copy(from / name, name);
  }
  const fs::path plan = request.plan.empty() ? from / "plan.json" : request.plan;
  if (!stands(plan)) throw core::InputError(plan.string(), "no such file; give the plan with --plan");
  writer.add_copy(plan, "plan.json");
  if (fs::is_symlink(fs::symlink_status(from / "scan", ec))) {
    throw core::InputError((from / "scan").string(), "is a symbolic link; give the folder itself");
  }
  if (fs::is_directory(from / "scan", ec)) {
    for (const std::string& file : files_below(from / "scan")) {
      if (file.back() == '/') continue;
      if (const auto fault = path_fault(file))
        throw core::InputError(core::one_line((from / "scan" / file).string(), 300), *fault);
      writer.add_copy(from / "scan" / file, "scan/" + file);
    }
  }
  for (const fs::directory_entry& entry : fs::directory_iterator(from, ec)) {
    const std::string name = entry.path().filename().string();
    const bool kept =
        name == "fit.json" || name == "plan.json" || name == "scan" || name == core::kResultList ||
        std::find(kOptionalResults.begin(), kOptionalResults.end(), name) != kOptionalResults.end();
    if (!kept) added.left_out.push_back(name);
  }
  std::sort(added.left_out.begin(), added.left_out.end());
}

void add_notes(const AddRequest& request, BagWriter& writer) {
  if (!request.notes_file.empty()) {
    if (writer.add_copy(request.notes_file, "notes.txt").bytes > kMaxNotesBytes) {
      throw core::InputError(request.notes_file.string(), "is too long for a note (1 MB at most)");
    }
  } else if (!request.notes.empty()) {
    writer.add_bytes(request.notes + "\n", "notes.txt");
  }
}

// For viewers and for looking through; made from the copies.
void add_derived(const seams::FitDocument& fit, BagWriter& writer) {
  std::optional<std::string> preview;
  if (stands(writer.payload("scan/ortho.png")))
    preview = preview_of_picture(writer.payload("scan/ortho.png"));
  if (!preview) preview = preview_of_pieces(fit);
  if (preview) writer.add_bytes(*preview, "preview.png");
  writer.add_bytes(write_glb(fit), "pieces.glb");
}

// After a pour the pieces are where they were: what was found in the seams tells two looks apart.
bool same_refill(const Entry& kept, const std::optional<FileFacts>& refill) {
  const auto file = std::find_if(kept.files.begin(), kept.files.end(),
                                 [](const KeptFile& f) { return f.path == "refill.json"; });
  if (file == kept.files.end() || !refill) return file == kept.files.end() && !refill;
  return file->sha256 == refill->digests.sha256;
}

void refuse_double(const AddRequest& request, const BagWriter& writer, const ArchiveIndex& index,
                   const Entry& entry) {
  if (request.again) return;
  const FileFacts fit = facts_of_file(writer.payload("fit.json"));
  std::optional<FileFacts> refill;
  if (stands(writer.payload("refill.json"))) refill = facts_of_file(writer.payload("refill.json"));
  for (const auto& [id, path] : index.files_with(fit.digests.sha256)) {
    const std::optional<Entry> other = index.get(id);
    if (path != "fit.json" || !other || other->stage != entry.stage || other->name != entry.name ||
        !same_refill(*other, refill))
      continue;
    throw core::InputError((request.results / "fit.json").string(),
                           "is kept already as " + id + "; --again keeps it twice");
  }
}

}  // namespace

bool is_picture(const fs::path& file) {
  return std::find(kPictureEndings.begin(), kPictureEndings.end(),
                   core::lower_ascii(file.extension().string())) != kPictureEndings.end();
}

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  ::localtime_r(&now, &local);
  char text[16];
  std::strftime(text, sizeof text, "%Y-%m-%d", &local);
  return text;
}

Added fill_bag(const AddRequest& request, BagWriter& writer, const ArchiveIndex& index,
               const fs::path& bags) {
  Added added;
  Entry& entry = added.entry;
  entry.stage = request.stage;
  entry.ring = request.ring;
  entry.date = request.date.empty() ? today() : checked_date(request.date, "--date");
  if (!request.wood.empty()) entry.wood = core::checked_name(request.wood, "--wood");
  if (!request.name.empty()) entry.name = core::checked_name(request.name, "--name");
  add_results(request, writer, added);
  const fs::path plan_file = request.plan.empty() ? request.results / "plan.json" : request.plan;
  const seams::FitDocument fit =
      seams::parse_fit(text_of(writer, "fit.json"), (request.results / "fit.json").string());
  const plan::Plan plan = plan::parse_plan(text_of(writer, "plan.json"), plan_file.string());
  describe_fit(fit, entry);
  entry.planned_gap_mm = plan.planned_gap_mm;
  if (entry.name.empty()) entry.name = core::checked_name(plan.name.empty() ? fit.name : plan.name, "--name");
  refuse_double(request, writer, index, entry);
  if (!request.lens.empty()) {
    writer.add_copy(request.lens, "lens.json");
    core::parse_json(text_of(writer, "lens.json"), request.lens.string());
  }
  for (const char* name : {"pour.json", "refill.json"}) {
    if (stands(writer.payload(name)))
      core::parse_json(text_of(writer, name), (request.results / name).string());
  }
  add_notes(request, writer);
  add_derived(fit, writer);
  add_photos(request, writer, index, bags, added);
  return added;
}

void write_tags(const Entry& entry, BagWriter& writer) {
  BagInfo info;
  info.add("External-Identifier", entry.id);
  info.add("External-Description", "Scan of a turned vessel of wood and resin: " + entry.name + ", ring " +
                                       std::to_string(entry.ring) + ", " + name_of(entry.stage));
  info.add("Bag-Group-Identifier", entry.name);
  info.add("Bagging-Date", today());
  info.add("Interstice-Format", "1");
  info.add("Interstice-Name", entry.name);
  info.add("Interstice-Date", entry.date);
  info.add("Interstice-Ring", std::to_string(entry.ring));
  info.add("Interstice-Stage", name_of(entry.stage));
  if (!entry.wood.empty()) info.add("Interstice-Wood", entry.wood);
  writer.close(std::move(info));
}

}  // namespace interstice::archive
