#include "archive/index.h"

#include <fmt/core.h>

#include <cmath>
#include <set>

#include "archive/names.h"
#include "archive/sqlite.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

// Step k takes an index of version k to version k + 1. A step that adds something no older index holds
// empties the tables: the archive then reads the bags again.
const std::vector<std::string> kMigrations{
    R"(CREATE TABLE entry (
         id TEXT PRIMARY KEY, name TEXT NOT NULL, name_key TEXT NOT NULL, date TEXT NOT NULL,
         wood TEXT NOT NULL, wood_key TEXT NOT NULL, stage TEXT NOT NULL, ring INTEGER NOT NULL,
         smallest_fill_mm REAL NOT NULL, planned_gap_mm REAL NOT NULL,
         smallest_mm REAL, smallest_u95_mm REAL, pieces INTEGER NOT NULL,
         too_tight INTEGER NOT NULL, doubtful INTEGER NOT NULL, clear INTEGER NOT NULL, unseen INTEGER NOT NULL,
         payload_bytes INTEGER NOT NULL, payload_files INTEGER NOT NULL, notes TEXT NOT NULL);
       CREATE INDEX entry_by_date ON entry (date);
       CREATE INDEX entry_by_name ON entry (name_key);
       CREATE TABLE seam (
         entry TEXT NOT NULL REFERENCES entry (id) ON DELETE CASCADE,
         tile_a TEXT NOT NULL, tile_b TEXT NOT NULL, ring_a INTEGER NOT NULL, ring_b INTEGER NOT NULL,
         verdict INTEGER NOT NULL, narrowest_mm REAL, u95_mm REAL, planned_mm REAL);
       CREATE INDEX seam_by_entry ON seam (entry);)",
    R"(DELETE FROM entry;
       CREATE TABLE file (
         entry TEXT NOT NULL REFERENCES entry (id) ON DELETE CASCADE,
         path TEXT NOT NULL, bytes INTEGER NOT NULL, sha256 TEXT NOT NULL);
       CREATE INDEX file_by_entry ON file (entry);
       CREATE INDEX file_by_sha256 ON file (sha256);
       CREATE INDEX file_by_bytes ON file (bytes);)",
    // Verdicts are other numbers since seams can be pinched.
    R"(DELETE FROM entry;
       DELETE FROM seam;
       DELETE FROM file;
       ALTER TABLE entry ADD COLUMN pinched INTEGER NOT NULL DEFAULT 0;)",
    // A seam fills by its throat too.
    R"(DELETE FROM entry;
       DELETE FROM seam;
       DELETE FROM file;
       ALTER TABLE seam ADD COLUMN throat_mm REAL;
       ALTER TABLE seam ADD COLUMN throat_u95_mm REAL;)",
};

constexpr int kApplicationId = 0x49535443;  // marks the file as an index of this program

const char* const kEntryColumns =
    "id, name, date, wood, stage, ring, smallest_fill_mm, planned_gap_mm, smallest_mm, smallest_u95_mm, "
    "pieces, "
    "too_tight, doubtful, clear, unseen, payload_bytes, payload_files, notes, pinched";

// Rows come from a file that anybody may have written: what this program would never write makes the index
// useless, and it is made anew from the bags.
[[noreturn]] void distrust(const std::string& what) {
  throw IndexUnusable("the index holds " + what + " that this program does not write");
}

std::string text_in(const Statement& row, int column, std::size_t max_bytes,
                    core::Lines lines = core::Lines::one) {
  std::string text = row.text(column);
  if (text.size() > max_bytes || core::character_fault(text, lines)) distrust("a text");
  return text;
}

std::int64_t integer_in(const Statement& row, int column, std::int64_t low, std::int64_t high) {
  const std::int64_t x = row.integer(column);
  if (x < low || x > high) distrust("a number");
  return x;
}

double real_in(const Statement& row, int column) {
  const double x = row.real(column);
  if (!(std::abs(x) <= 1e4)) distrust("a width");
  return x;
}

std::optional<double> optional_in(const Statement& row, int column) {
  return row.optional_real(column) ? std::optional(real_in(row, column)) : std::nullopt;
}

std::string id_in(const Statement& row, int column) {
  std::string id = text_in(row, column, 240);
  if (path_fault(id) || id.find('/') != std::string::npos) distrust("an entry's name");
  return id;
}

std::string path_in(const Statement& row, int column) {
  std::string path = row.text(column);
  if (path_fault(path)) distrust("a path");
  return path;
}

Entry entry_of(const Statement& row) {
  constexpr std::int64_t kMany = 1000000;
  Entry e;
  e.id = id_in(row, 0);
  e.name = text_in(row, 1, 200);
  e.wood = text_in(row, 3, 200);
  try {
    e.date = checked_date(row.text(2), "date");
    e.stage = piece_stage(row.text(4), "stage");
  } catch (const core::InputError&) {
    distrust("a date or stage");
  }
  e.ring = static_cast<int>(integer_in(row, 5, 0, 10000));
  e.smallest_fill_mm = real_in(row, 6);
  e.planned_gap_mm = real_in(row, 7);
  e.smallest_mm = optional_in(row, 8);
  e.smallest_u95_mm = optional_in(row, 9);
  e.pieces = static_cast<int>(integer_in(row, 10, 0, kMany));
  e.too_tight = static_cast<int>(integer_in(row, 11, 0, kMany));
  e.doubtful = static_cast<int>(integer_in(row, 12, 0, kMany));
  e.clear = static_cast<int>(integer_in(row, 13, 0, kMany));
  e.unseen = static_cast<int>(integer_in(row, 14, 0, kMany));
  e.payload_bytes = static_cast<std::uintmax_t>(integer_in(row, 15, 0, std::int64_t{1} << 60));
  e.payload_files = static_cast<std::size_t>(integer_in(row, 16, 0, kMany));
  e.notes = row.text(17);  // shown with control characters taken out, as the bag's own
  if (e.notes.size() > (1u << 20)) distrust("a text");
  e.pinched = static_cast<int>(integer_in(row, 18, 0, kMany));
  return e;
}

KeptSeam seam_of(const Statement& row) {
  KeptSeam s;
  s.tiles = {text_in(row, 0, 200), text_in(row, 1, 200)};
  s.rings = {static_cast<int>(integer_in(row, 2, 0, 10000)), static_cast<int>(integer_in(row, 3, 0, 10000))};
  s.verdict = static_cast<seams::Verdict>(integer_in(row, 4, 0, static_cast<int>(seams::Verdict::unseen)));
  s.narrowest_mm = optional_in(row, 5);
  s.u95_mm = optional_in(row, 6);
  s.planned_mm = optional_in(row, 7);
  s.throat_mm = optional_in(row, 8);
  s.throat_u95_mm = optional_in(row, 9);
  return s;
}

std::int64_t single_number(sqlite3* db, const std::string& sql) {
  Statement statement(db, sql);
  return statement.step() ? statement.integer(0) : 0;
}

// All tables, indices, views and triggers with the statements that made them.
std::vector<std::string> schema_of(sqlite3* db) {
  std::vector<std::string> out;
  Statement statement(db, "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name");
  while (statement.step()) {
    out.push_back(statement.text(0) + "|" + statement.text(1) + "|" + statement.text(2) + "|" +
                  statement.text(3));
  }
  return out;
}

std::vector<std::string> our_schema() {
  sqlite3* db = nullptr;
  const int rc = sqlite3_open(":memory:", &db);
  const std::unique_ptr<sqlite3, int (*)(sqlite3*)> closing(db, sqlite3_close_v2);
  if (rc != SQLITE_OK) fail_with_sqlite_error(db);
  for (const std::string& step : kMigrations) execute(db, step);
  return schema_of(db);
}

std::string uri_of(const std::filesystem::path& file, const std::string& options) {
  std::string out = "file:";
  for (const char c : std::filesystem::absolute(file).string()) {
    if (c == '%' || c == '?' || c == '#') {
      out += fmt::format("%{:02X}", static_cast<unsigned>(static_cast<unsigned char>(c)));
    } else {
      out += c;
    }
  }
  return out + options;
}

}  // namespace

void ArchiveIndex::Close::operator()(sqlite3* db) const {
  sqlite3_close_v2(db);
}

ArchiveIndex::~ArchiveIndex() = default;

int ArchiveIndex::current_version() {
  return static_cast<int>(kMigrations.size());
}

ArchiveIndex::ArchiveIndex(const std::filesystem::path& file, Access access) : file_(file.string()) {
  const bool memory = access == Access::in_memory;
  // A read-only index has no other program's changes beside it, so it can be taken as it stands.
  const std::string name =
      memory ? ":memory:" : uri_of(file, access == Access::read_only ? "?immutable=1" : "");
  const int flags =
      access == Access::read_only ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
  sqlite3* db = nullptr;
  const int rc = sqlite3_open_v2(name.c_str(), &db, flags | SQLITE_OPEN_URI, nullptr);
  db_.reset(db);
  if (rc != SQLITE_OK) fail_with_sqlite_error(db_.get());
  sqlite3_extended_result_codes(db_.get(), 1);
  sqlite3_busy_timeout(db_.get(), 10000);
  sqlite3_db_config(db_.get(), SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  execute(db_.get(), "PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON");
  const std::int64_t version = single_number(db_.get(), "PRAGMA user_version");
  if (version > current_version()) {
    throw IndexTooNew(file_, "was written by a newer version of interstice (index version " +
                                 std::to_string(version) +
                                 "); use that one, or delete this file and run archive rebuild");
  }
  if (access == Access::read_only) {
    if (version != current_version()) throw IndexUnusable(file_ + ": is of an older version");
  } else {
    if (!memory) execute(db_.get(), "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL");
    if (version < current_version()) migrate();
  }
  if (!memory && schema_of(db_.get()) != our_schema()) {
    throw IndexUnusable(file_ + ": is not laid out as this program does it");
  }
}

void ArchiveIndex::migrate() {
  Transaction transaction(db_.get());
  const std::int64_t version =
      single_number(db_.get(), "PRAGMA user_version");  // another program may have been first
  const std::int64_t tables = single_number(db_.get(), "SELECT count(*) FROM sqlite_master");
  if (version == 0 && tables > 0) throw IndexUnusable(file_ + ": is not an index of this program");
  for (auto k = static_cast<std::size_t>(version); k < kMigrations.size(); ++k)
    execute(db_.get(), kMigrations[k]);
  execute(db_.get(), "PRAGMA user_version = " + std::to_string(current_version()));
  execute(db_.get(), "PRAGMA application_id = " + std::to_string(kApplicationId));
  transaction.commit();
}

std::vector<std::string> ArchiveIndex::ids() const {
  std::vector<std::string> out;
  Statement statement(db_.get(), "SELECT id FROM entry ORDER BY id");
  while (statement.step()) out.push_back(id_in(statement, 0));
  return out;
}

void ArchiveIndex::insert(const Entry& e) {
  Statement add(
      db_.get(),
      "INSERT INTO entry (id, name, name_key, date, wood, wood_key, stage, ring, smallest_fill_mm, "
      "planned_gap_mm, smallest_mm, smallest_u95_mm, pieces, too_tight, doubtful, clear, unseen, "
      "payload_bytes, payload_files, notes, pinched) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)");
  const auto number = [](auto x) { return static_cast<std::int64_t>(x); };
  add.bind(e.id).bind(e.name).bind(search_key(e.name)).bind(e.date).bind(e.wood).bind(search_key(e.wood));
  add.bind(std::string(name_of(e.stage)))
      .bind(number(e.ring))
      .bind(e.smallest_fill_mm)
      .bind(e.planned_gap_mm);
  add.bind(e.smallest_mm).bind(e.smallest_u95_mm).bind(number(e.pieces)).bind(number(e.too_tight));
  add.bind(number(e.doubtful)).bind(number(e.clear)).bind(number(e.unseen)).bind(number(e.payload_bytes));
  add.bind(number(e.payload_files)).bind(e.notes).bind(number(e.pinched)).run();
  Statement seam(db_.get(), "INSERT INTO seam VALUES (?,?,?,?,?,?,?,?,?,?,?)");
  for (const KeptSeam& s : e.seams) {
    seam.bind(e.id).bind(s.tiles[0]).bind(s.tiles[1]).bind(number(s.rings[0])).bind(number(s.rings[1]));
    seam.bind(number(s.verdict)).bind(s.narrowest_mm).bind(s.u95_mm).bind(s.planned_mm);
    seam.bind(s.throat_mm).bind(s.throat_u95_mm).run();
  }
  Statement file(db_.get(), "INSERT INTO file VALUES (?,?,?,?)");
  for (const KeptFile& f : e.files) file.bind(e.id).bind(f.path).bind(number(f.bytes)).bind(f.sha256).run();
}

void ArchiveIndex::erase(const std::string& id) {
  Statement(db_.get(), "DELETE FROM entry WHERE id = ?").bind(id).run();
}

void ArchiveIndex::put(const Entry& entry) {
  Transaction transaction(db_.get());
  erase(entry.id);
  insert(entry);
  transaction.commit();
}

void ArchiveIndex::remove(const std::string& id) {
  Transaction transaction(db_.get());
  erase(id);
  transaction.commit();
}

void ArchiveIndex::replace_all(const std::vector<Entry>& entries) {
  Transaction transaction(db_.get());
  execute(db_.get(), "DELETE FROM entry");
  for (const Entry& entry : entries) insert(entry);
  transaction.commit();
}

std::vector<Entry> ArchiveIndex::find(const EntryFilter& filter) const {
  std::string where = "1";
  if (!filter.name.empty()) where += " AND instr(name_key, ?) > 0";
  if (!filter.wood.empty()) where += " AND instr(wood_key, ?) > 0";
  if (!filter.from.empty()) where += " AND date >= ?";
  if (!filter.to.empty()) where += " AND date <= ?";
  if (filter.ring) where += " AND ring = ?";
  if (filter.stage) where += " AND stage = ?";
  if (filter.smallest_below_mm) where += " AND smallest_mm < ?";
  if (filter.smallest_from_mm) where += " AND smallest_mm >= ?";
  Statement statement(db_.get(), std::string("SELECT ") + kEntryColumns + " FROM entry WHERE " + where +
                                     " ORDER BY date DESC, name_key, ring DESC, id");
  if (!filter.name.empty()) statement.bind(search_key(filter.name));
  if (!filter.wood.empty()) statement.bind(search_key(filter.wood));
  if (!filter.from.empty()) statement.bind(filter.from);
  if (!filter.to.empty()) statement.bind(filter.to);
  if (filter.ring) statement.bind(static_cast<std::int64_t>(*filter.ring));
  if (filter.stage) statement.bind(std::string(name_of(*filter.stage)));
  if (filter.smallest_below_mm) statement.bind(*filter.smallest_below_mm);
  if (filter.smallest_from_mm) statement.bind(*filter.smallest_from_mm);
  std::vector<Entry> out;
  while (statement.step()) out.push_back(entry_of(statement));
  return out;
}

std::optional<Entry> ArchiveIndex::get(const std::string& id) const {
  Statement statement(db_.get(), std::string("SELECT ") + kEntryColumns + " FROM entry WHERE id = ?");
  statement.bind(id);
  if (!statement.step()) return std::nullopt;
  Entry e = entry_of(statement);
  Statement seams(
      db_.get(),
      "SELECT tile_a, tile_b, ring_a, ring_b, verdict, narrowest_mm, u95_mm, planned_mm, throat_mm, "
      "throat_u95_mm FROM seam WHERE entry = ? ORDER BY rowid");
  seams.bind(id);
  while (seams.step()) e.seams.push_back(seam_of(seams));
  Statement files(db_.get(), "SELECT path, bytes, sha256 FROM file WHERE entry = ? ORDER BY path");
  files.bind(id);
  while (files.step()) {
    e.files.push_back({path_in(files, 0),
                       static_cast<std::uintmax_t>(integer_in(files, 1, 0, std::int64_t{1} << 60)),
                       text_in(files, 2, 64)});
  }
  return e;
}

std::vector<std::pair<std::string, std::string>> ArchiveIndex::files_with(const std::string& sha256) const {
  Statement statement(db_.get(), "SELECT entry, path FROM file WHERE sha256 = ? ORDER BY entry, path");
  statement.bind(sha256);
  std::vector<std::pair<std::string, std::string>> out;
  while (statement.step()) out.emplace_back(id_in(statement, 0), path_in(statement, 1));
  return out;
}

bool ArchiveIndex::has_file_of_size(std::uintmax_t bytes) const {
  Statement statement(db_.get(), "SELECT 1 FROM file WHERE bytes = ? LIMIT 1");
  statement.bind(static_cast<std::int64_t>(bytes));
  return statement.step();
}

std::vector<LearnedSeam> ArchiveIndex::seams_to_learn_from() const {
  Statement statement(
      db_.get(),
      "SELECT e.name_key, e.id, s.tile_a, s.tile_b, s.ring_a, s.ring_b, s.planned_mm, s.narrowest_mm, "
      "s.u95_mm, e.planned_gap_mm, s.throat_mm, s.throat_u95_mm FROM seam s JOIN entry e ON e.id = s.entry "
      "WHERE e.stage = 'glued' AND s.narrowest_mm IS NOT NULL AND s.u95_mm IS NOT NULL "
      "AND s.planned_mm IS NOT NULL ORDER BY e.name_key, e.date, e.ring, e.id, s.rowid");
  std::vector<LearnedSeam> out;
  std::set<std::array<std::string, 3>> seen;
  while (statement.step()) {
    // A seam scanned again counts as it was first built, before anybody sanded or moved anything.
    if (!seen.insert({statement.text(0), statement.text(2), statement.text(3)}).second) continue;
    LearnedSeam seam{text_in(statement, 0, 1000),
                     id_in(statement, 1),
                     {static_cast<int>(integer_in(statement, 4, 0, 10000)),
                      static_cast<int>(integer_in(statement, 5, 0, 10000))},
                     real_in(statement, 6),
                     real_in(statement, 7),
                     real_in(statement, 8),
                     real_in(statement, 9)};
    const auto throat = optional_in(statement, 10), u95 = optional_in(statement, 11);
    if (throat && u95 && *throat < seam.built_mm) seam.built_mm = *throat, seam.u95_mm = *u95;
    out.push_back(std::move(seam));
  }
  return out;
}

}  // namespace interstice::archive
