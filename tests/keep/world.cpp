#include "keep/world.h"

#include <fstream>

#include "archive/archive.h"
#include "archive/fault_calls.h"
#include "core/errors.h"
#include "core/file_kind.h"
#include "core/files.h"
#include "core/result_folder.h"
#include "core/result_list.h"
#include "core/sha256.h"
#include "core/temporary.h"

namespace interstice::keep {
namespace {

std::string content_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

const std::string& long_name() {
  static const std::string name = [] {
    std::string out;
    for (int i = 0; i < 119; ++i) out += "ж";
    return out;
  }();
  return name;
}

}  // namespace

bool is_whole_result(const fs::path& folder) {
  try {
    const core::ResultList list =
        core::parse_result_list(core::read_file(folder / core::kResultList), core::kResultList);
    for (const core::ListedFile& file : list.files) {
      if (!fs::exists(folder / file.path)) return false;
    }
    return !core::foreign_entry(folder, list, {});
  } catch (const core::InputError&) {
    return false;
  }
}

bool is_complete_result(const fs::path& folder) {
  try {
    for (const core::ListedFile& file :
         core::parse_result_list(core::read_file(folder / core::kResultList), core::kResultList).files) {
      const std::string content = core::read_file(folder / file.path);
      if (core::sha256_of(content) != file.sha256 && !core::is_ours(content)) return false;
    }
    return true;
  } catch (const core::InputError&) {
    return false;
  }
}

World::World(fs::path root, unsigned seed) : root_(std::move(root)), random_(seed) {
  faults::set_disk({});  // what the user did before was done on a common disk
  fs::create_directories(root_);
  for (const char* name :
       {"photos/photo_1.jpg", "photos/photo_2.jpg", "plans/plan.json", "notes.txt", "deep/a/b/sketch.pdf"})
    put(root_ / name);
  fs::create_directories(root_ / "empty");
  fs::create_directories(root_ / "deep" / "hollow");
  if (chance(3) == 0) put(root_ / long_name() / "photo.jpg");
  // As older versions and other programs name their own.
  for (const char* name :
       {".plan.json.20260314.old", ".ring1.99999999.part/mine", ".interstice-0badcafe-0badcafe/new/x"})
    if (chance(3) == 0) put(root_ / name);
  make_results();
  touch_results();
  make_archives();
  make_links();
}

World::~World() {
  std::error_code ec;
  fs::remove_all(root_, ec);
}

void World::put(const fs::path& path) {
  std::error_code ec;
  fs::create_directories(path.parent_path(), ec);
  if (ec || fs::exists(fs::symlink_status(path, ec))) return;
  const std::string mark = "of the user's, number " + std::to_string(++made_);
  const std::string kinds[] = {"\xff\xd8\xff\xe0 " + mark,
                               "%PDF-1.4\n% " + mark + "\n%%EOF\n",
                               "{\"name\": \"" + mark + "\", \"units\": \"mm\"}\n",
                               "{\"format\": \"somebodys\", \"x\": \"" + mark + "\"}",
                               "<svg><!-- " + mark + " --></svg>\n",
                               "<html>" + mark + "</html>\n",
                               mark + "\n",
                               std::string("SQLite format 3\0", 16) + mark + std::string(9000, 'x')};
  const std::string& content = kinds[chance(8)];
  std::ofstream out(path, std::ios::binary);
  if (!(out << content).flush()) return;
  files_[fs::canonical(path)] = content;
}

void World::make_results() {
  const auto result = [&](const char* name, const char* command, const char* piece) {
    core::ResultFolder folder(root_ / name, {command, piece});
    core::write_new_file(folder.work() / "fit.json", "{\"format\": \"interstice-fit\"}\n");
    core::write_new_file(folder.work() / "seams.csv", "tiles,width\n");
    fs::create_directory(folder.work() / "scan");
    core::write_new_file(folder.work() / "scan" / "cameras.json", "{}\n");
    folder.commit();
  };
  result("ring1", "inspect", "bowl");
  if (chance(2) == 0) result("ring2", "inspect", "another");
  if (chance(2) == 0) result("scan1", "scan", "bowl");
  if (chance(2) == 0) core::write_file_atomically(root_ / "fit.json", "{\"format\": \"interstice-fit\"}\n");
}

void World::touch_results() {
  switch (chance(8)) {
    case 0:
      return put(root_ / "ring1" / "photos" / "photo_3.jpg");
    case 1:
      return put(root_ / "ring1" / "scan" / "notes.txt");
    case 2:
      fs::remove(root_ / "ring1" / "seams.csv");
      return put(root_ / "ring1" / "seams.csv");  // worked on
    case 3:
      fs::remove(root_ / "ring1" / "result.json");
      return put(root_ / "ring1" / "photo_4.jpg");  // as an older version left it
    case 4:
      fs::rename(root_ / "ring1" / "scan", root_ / "moved");
      fs::create_directory_symlink("../moved", root_ / "ring1" / "scan");
      links_[root_ / "ring1" / "scan"] = "../moved";
      return put(root_ / "moved" / "x");
    default:
      return;
  }
}

void World::make_archives() {
  switch (chance(5)) {
    case 0:
      put(root_ / "kept" / "work" / "walnut" / "order.txt");
      break;
    case 1:
      put(root_ / "kept" / "bags" / "leather.jpg");
      put(root_ / "kept" / "work" / "x");
      break;
    case 2:
      fs::create_directories(root_ / "kept" / "bags");
      fs::create_directories(root_ / "kept" / "work");
      break;
    case 3:
      archive::Archive::open_or_make(root_ / "kept");
      put(root_ / "kept" / "work" / "mine.txt");
      put(root_ / "kept" / "readme.txt");
      if (chance(2) == 0) {
        for (const char* end : {"", "-wal", "-shm"})
          fs::remove((root_ / "kept" / "index.sqlite").string() + end);
        const fs::path database = root_ / "kept" / "index.sqlite";
        files_[database] =
            std::string("SQLite format 3\0\x10\0", 18) + std::string(9000, '\0') + "of the user's";
        std::ofstream(database, std::ios::binary) << files_[database];
      }
      break;
    default:
      break;
  }
}

void World::make_links() {
  const int links = chance(5);
  for (int i = 0; i < links; ++i) {
    const fs::path in = chance(3) == 0 ? some_place() : root_;
    std::error_code ec;
    if (!fs::is_directory(in, ec)) continue;
    const fs::path link = fs::canonical(in) / ("link" + std::to_string(i));
    const fs::path target = some_place();
    const std::string to = chance(6) == 0   ? "nowhere"
                           : chance(8) == 0 ? link.filename().string()
                           : chance(2) == 0 ? target.string()
                                            : target.lexically_relative(link.parent_path()).string();
    fs::create_symlink(to, link, ec);
    if (!ec) links_[link] = to;
  }
  if (chance(3) == 0) {  // a second name for a file of the user's
    const fs::path twin = root_ / (chance(2) == 0 ? "ring1/twin.jpg" : "plans/twin.jpg");
    fs::create_hard_link(root_ / "photos" / "photo_1.jpg", twin);
    files_[twin] = files_[root_ / "photos" / "photo_1.jpg"];
  }
}

fs::path World::some_place() {
  std::vector<fs::path> places{root_};
  std::error_code ec;
  for (const auto& entry : fs::recursive_directory_iterator(root_, ec)) places.push_back(entry.path());
  std::sort(places.begin(), places.end());
  return places[static_cast<std::size_t>(chance(static_cast<int>(places.size())))];
}

fs::path World::some_path() {
  const std::string names[] = {"ring1",
                               "ring1",
                               "ring1",
                               "ring2",
                               "scan1",
                               "photos",
                               "empty",
                               "kept",
                               "kept",
                               "kept",
                               "new",
                               "new/a/b",
                               "fit.json",
                               "fit.json",
                               "link0",
                               "link1",
                               "notes.txt",
                               long_name(),
                               long_name() + ".json"};
  fs::path path = chance(4) == 0 ? some_place() : root_ / names[chance(19)];
  const std::string ends[] = {"", "", "", "", "", "/", "/.", "/..", "/new", "/../ring1", "/link0", "//"};
  path = path.string() + ends[chance(12)];
  return path;
}

void World::meddle(const fs::path& target) {
  const fs::path clean = target.filename().empty() ? target.parent_path() : target;
  std::error_code ec;
  switch (chance(4)) {
    case 0:
      put(clean / "added.jpg");
      break;
    case 1:
      put(clean);
      break;
    case 2:
      put(clean / "scan" / "added.jpg");
      break;
    default:
      if (is_whole_result(clean)) fs::rename(clean, root_ / "taken", ec);
      break;
  }
}

std::string World::lost() const {
  std::string out;
  for (const auto& [path, content] : files_) {
    std::error_code ec;
    const bool there = fs::is_regular_file(fs::symlink_status(path, ec));
    if (!there || content_of(path) != content)
      out += path.string() + (there ? " has changed\n" : " is gone\n");
  }
  for (const auto& [path, to] : links_) {
    std::error_code ec;
    if (fs::read_symlink(path, ec) != to || ec) out += path.string() + " leads elsewhere\n";
  }
  return out;
}

std::vector<fs::path> World::left_over() const {
  std::vector<fs::path> out;
  std::error_code ec;
  for (const auto& entry : fs::recursive_directory_iterator(root_, ec)) {
    if (core::is_temporary_name(entry.path().filename().string()) && !fs::exists(entry.path() / "kept"))
      out.push_back(entry.path());
  }
  return out;
}

std::vector<fs::path> World::complete_results() const {
  std::vector<fs::path> out;
  for (const char* name : {"ring1", "ring2", "scan1"}) {
    if (is_complete_result(root_ / name)) out.push_back(root_ / name);
  }
  return out;
}

}  // namespace interstice::keep
