// The bench's own documents, as it writes them, against their published schemas.
#include "bench/folder.h"
#include "bench/job_file.h"
#include "bench/photo_check.h"
#include "bench/ticks.h"
#include "core/own_folder.h"
#include "schemas/schema.h"

namespace interstice::bench {
namespace {

using testing_schemas::check;
using testing_schemas::json;
using testing_schemas::read;
using testing_schemas::Schema;

class DocumentsTest : public OwnFolder {};

TEST_F(DocumentsTest, OfFolderBowlAndScan) {
  Folder folder(folder_ / "bench");
  check("bench", read(folder.root() / "bench.json"));
  Bowl bowl = folder.add_bowl("Plover", "");
  check("bowl", read(folder.bowl_path(bowl.key) / "bowl.json"));
  bowl.check_line_mm = 149.6;
  bowl.lens = "phone.lens.json";
  folder.change_bowl(bowl);
  json document = read(folder.bowl_path(bowl.key) / "bowl.json");
  check("bowl", document);
  EXPECT_EQ(document.at("check_line_mm"), 149.6);
  document["check_line_mm"] = 15;
  EXPECT_NE(Schema("bowl").fault(document), "");
  for (const ScanKind kind :
       {ScanKind::ring, ScanKind::poured, ScanKind::drawn, ScanKind::form, ScanKind::lens}) {
    const ScanOfBowl scan = folder.add_scan(bowl.key, name_of(kind), kind);
    check("bench-scan", read(folder.scan_path(bowl.key, scan.key) / "scan.json"));
  }
}

TEST_F(DocumentsTest, OfAPhotoThatWasLookedAt) {
  PhotoCheck seen;
  seen.photo = "photo_001.jpg";
  seen.width = 4032, seen.height = 3024, seen.focal_px = 2912.5;
  check("photo-check", json::parse(write_check(seen)));
  camera::CardView card;
  card.card = 3;
  for (const int id : {0, 7, 27}) {
    card.corner_id.push_back(id);
    card.pixel.emplace_back(100.25 * id, 2000.5);
    card.sd_px.push_back(0.07);
  }
  seen.cards = {card};
  seen.blur_mm = 0.4, seen.blur_px = 1.3, seen.white = 231, seen.black = 22;
  seen.faults = {"blurred"};
  json document = json::parse(write_check(seen));
  check("photo-check", document);
  document["cards"][0]["corners"][1][0] = 28;  // a card has 28 corners, 0 to 27
  EXPECT_NE(Schema("photo-check").fault(document), "");
}

TEST_F(DocumentsTest, OfTicksAndJobs) {
  Ticks().set(folder_ / "ticks.json", "one", "work-1", true);
  json ticks = read(folder_ / "ticks.json");
  check("ticks", ticks);
  ticks["results"]["one"].push_back("<b>");
  EXPECT_NE(Schema("ticks").fault(ticks), "");
  JobRecord record;
  record.job.id = 12;
  record.job.order = {"measure",         "plover", "001-ring-1",
                      "Measure: Ring 1", 20,       {{"inspect", "photos"}, {"report"}}};
  record.pid = 4711, record.start = 123456789012ULL, record.begun = 1;
  for (const JobState state : {JobState::waiting, JobState::running, JobState::done, JobState::failed,
                               JobState::crashed, JobState::cancelled}) {
    record.job.state = state;
    check("bench-job", json::parse(write_job(record)));
  }
}

}  // namespace
}  // namespace interstice::bench
