// An index that somebody else wrote: never believed where it says what this program does not write.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include "archive/archive.h"
#include "archive/sample.h"

namespace fs = std::filesystem;
using namespace interstice;

namespace {

void alter(const fs::path& root, const std::string& sql) {
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open((root / "index.sqlite").c_str(), &db), SQLITE_OK);
  char* fault = nullptr;
  EXPECT_EQ(sqlite3_exec(db, sql.c_str(), nullptr, nullptr, &fault), SQLITE_OK)
      << sql << ": " << (fault ? fault : "");
  sqlite3_free(fault);
  sqlite3_close(db);
}

// All that an archive says of its entries.
std::string told(const archive::Archive& archive) {
  std::string out;
  for (const archive::Entry& listed : archive.list({})) {
    const archive::Entry e = archive.find(listed.id);
    out += e.id + "|" + e.name + "|" + e.date + "|" + e.wood + "|" + std::to_string(e.ring) + "|" +
           std::to_string(e.too_tight) + "|" + e.notes + "\n";
    for (const archive::KeptSeam& s : e.seams) {
      out += s.tiles[0] + s.tiles[1] + std::to_string(static_cast<int>(s.verdict)) + " " +
             std::to_string(s.narrowest_mm.value_or(-1)) + " " + std::to_string(s.rings[0]) + "\n";
    }
    for (const archive::KeptFile& f : e.files)
      out += f.path + " " + std::to_string(f.bytes) + " " + f.sha256 + "\n";
  }
  for (const archive::LearnedSeam& s : archive.seams_to_learn_from())
    out += s.entry_id + std::to_string(s.built_mm) + "\n";
  return out;
}

}  // namespace

TEST(ForeignIndex, RowsThatNobodyWritesAreReadFromTheBags) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 6);
  sample::write_results(scratch / "results", plan, sample::built(plan));
  const fs::path root = scratch / "archive";
  std::string truth;
  {
    archive::Archive archive = archive::Archive::open_or_make(root);
    archive.add(sample::request(scratch / "results", "tern"));
    truth = told(archive);
  }
  for (const char* sql :
       {"UPDATE seam SET verdict = 99999999", "UPDATE seam SET verdict = -1",
        "UPDATE seam SET ring_a = 1 << 40", "UPDATE seam SET tile_a = 'A' || char(27) || '[2J'",
        "UPDATE seam SET narrowest_mm = 9e99", "UPDATE entry SET stage = 'melted'",
        "UPDATE entry SET date = 'soon'", "UPDATE entry SET ring = -7",
        "UPDATE entry SET name = 'a' || char(8238) || 'b'", "UPDATE entry SET payload_files = 1 << 60",
        "UPDATE entry SET name = zeroblob(5000)", "UPDATE file SET path = '../../../etc/passwd'",
        "UPDATE file SET path = '/etc/passwd'", "UPDATE file SET bytes = -5",
        "UPDATE file SET sha256 = char(10) || 'x'"}) {
    SCOPED_TRACE(sql);
    alter(root, sql);
    EXPECT_TRUE(told(archive::Archive::open(root)) == truth);
    EXPECT_TRUE(told(archive::Archive::open(root)) == truth);  // and mended, or made anew once more
  }
}

TEST(ForeignIndex, AnotherLayoutIsNotRead) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 6);
  sample::write_results(scratch / "results", plan, sample::built(plan));
  const fs::path root = scratch / "archive";
  std::string truth;
  {
    archive::Archive archive = archive::Archive::open_or_make(root);
    archive.add(sample::request(scratch / "results", "tern"));
    truth = told(archive);
  }
  for (const char* sql : {"CREATE TRIGGER t AFTER INSERT ON entry BEGIN DELETE FROM seam; END",
                          "CREATE VIEW v AS SELECT * FROM entry", "CREATE TABLE more (x)",
                          "ALTER TABLE seam ADD COLUMN more TEXT", "DROP INDEX entry_by_date",
                          "ALTER TABLE entry RENAME TO e; CREATE VIEW entry AS SELECT * FROM e"}) {
    SCOPED_TRACE(sql);
    alter(root, sql);
    EXPECT_TRUE(told(archive::Archive::open(root)) == truth);
    sqlite3* db = nullptr;
    sqlite3_open((root / "index.sqlite").c_str(), &db);
    int rows = 0;
    const auto count = [](void* n, int, char**, char**) { return ++*static_cast<int*>(n), 0; };
    sqlite3_exec(
        db,
        "SELECT 1 FROM sqlite_master WHERE type IN ('trigger', 'view') OR name = 'more' OR sql LIKE '%more%'",
        count, &rows, nullptr);
    sqlite3_close(db);
    EXPECT_EQ(rows, 0);
  }
}
