// Nothing of the user's is ever removed or overwritten: commands as a user types them, what is said, and the
// user's files before and after.
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <chrono>
#include <thread>

#include "archive/archive.h"
#include "archive/sample.h"
#include "hard/kept_table.h"
#include "hard/small_scene.h"

namespace interstice::hard {
namespace {

using namespace std::chrono_literals;

const std::string kJpeg = "\xff\xd8\xff\xe0 a photo of ring 3";
const std::string kInvoice = "%PDF-1.4\n% an invoice\n%%EOF\n";
const std::string kMeasure = " --plan plan.json --out ";

std::string long_name() {
  std::string out;
  for (int i = 0; i < 119; ++i) out += "ж";
  return out;
}

// Places refused before any work: made-up photos do.
class Kept : public KeptTable {
 protected:
  void SetUp() override {
    KeptTable::SetUp();
    const plan::Plan plan = sample::plan(1, 6);  // "marsh bowl"
    sample::write_results(folder_ / "sample", plan, sample::built(plan), 1);
    put("plan.json", slurp((folder_ / "sample" / "plan.json").string()));
    put("photos/photo_1.jpg", kJpeg);
  }
  void put_fit() const { put("fit.json", slurp((folder_ / "sample" / "fit.json").string())); }
};

TEST_F(Kept, PhotosMovedIntoAnEarlierResult) {
  put_result("ring3", "inspect", "marsh bowl");
  fs::rename(here_ / "photos", here_ / "ring3" / "photos");
  check({"inspect ring3/photos" + kMeasure + "ring3", 2, "ring3: holds photos, which this run reads"});
  check({"inspect ring3/photos" + kMeasure + "ring3 --replace", 2,
         "ring3: holds photos, which this run reads"});
  put("other/photo_1.jpg", kJpeg);
  check({"inspect other" + kMeasure + "ring3 --replace", 2,
         "holds more than an earlier result: photos was not written"});
}

TEST_F(Kept, ThingsAddedToAnEarlierResult) {
  for (const char* name :
       {"notes.txt", "scan/detail.jpg", "page.pdf", "marked/photo_1.jpg", ".hidden", "archive.json"}) {
    put_result("ring3", "inspect", "marsh bowl");
    put("ring3/" + std::string(name), "mine");
    check({"inspect photos" + kMeasure + "ring3 --replace", 2, fs::path(name).begin()->string()});
    fs::remove_all(here_ / "ring3");
  }
  put_result("ring3", "inspect", "marsh bowl");
  fs::create_directory(here_ / "ring3" / "next");
  check({"inspect photos" + kMeasure + "ring3 --replace",
         2,
         "next was not written by it",
         {},
         "",
         "(an empty folder in it)"});
  fs::remove(here_ / "ring3" / "next");
  fs::create_symlink("../photos", here_ / "ring3" / "photos");
  check({"inspect ring3/photos" + kMeasure + "ring3 --replace",
         2,
         "photos was not written by it",
         {},
         "",
         "(photos is a link to ../photos)"});
}

TEST_F(Kept, EarlierResultsWorkedOn) {
  put_result("ring3", "inspect", "marsh bowl");
  put("ring3/seams.csv", "tiles,my remarks\n");
  check({"inspect photos" + kMeasure + "ring3 --replace", 2, "seams.csv was changed since it was written"});
  fs::remove(here_ / "ring3" / "seams.csv");
  fs::create_symlink("../plan.json", here_ / "ring3" / "seams.csv");
  check({"inspect photos" + kMeasure + "ring3 --replace",
         2,
         "seams.csv",
         {},
         "",
         "(seams.csv is a link to ../plan.json)"});
  fs::remove_all(here_ / "ring3");
  put_result("ring3", "inspect", "marsh bowl");
  fs::rename(here_ / "ring3" / "scan", here_ / "elsewhere");
  fs::create_directory_symlink("../elsewhere", here_ / "ring3" / "scan");
  check({"inspect photos" + kMeasure + "ring3 --replace",
         2,
         "scan was not written by it",
         {},
         "",
         "(scan is a link)"});
}

TEST_F(Kept, EarlierResultsOfOtherKinds) {
  put_result("ring3", "inspect", "marsh bowl");
  check({"inspect photos" + kMeasure + "ring3", 2, "--replace puts the new one in its place"});
  check({"scan photos" + kMeasure + "ring3 --replace", 2, "holds a result of inspect"});
  put_result("other", "inspect", "reed bowl");
  check({"inspect photos" + kMeasure + "other --replace", 2, "the result of another piece, reed bowl"});
  put("old/fit.json", "{\"format\": \"interstice-fit\"}");
  check({"inspect photos" + kMeasure + "old --replace",
         2,
         "holds fit.json and no result.json",
         {},
         "",
         "(a result of an older version)"});
  put("broken/result.json", "{");
  check({"inspect photos" + kMeasure + "broken --replace", 2, "holds something that is no result"});
  put("forged/result.json",
      "{\"format\":\"interstice-result\",\"version\":1,\"command\":\"inspect\",\"piece\":"
      "\"marsh bowl\",\"files\":[{\"path\":\"../plan.json\",\"bytes\":1,\"sha256\":\"\"}]}");
  check({"inspect photos" + kMeasure + "forged --replace", 2, "no path within the folder"});
  put_result("dry", "inspect", "marsh bowl");
  fs::permissions(here_ / "dry", fs::perms(0555));
  check({"inspect photos" + kMeasure + "dry --replace", 2, "is write-protected"});
  fs::permissions(here_ / "dry", fs::perms(0755));
}

TEST_F(Kept, PlacesThatAreInputsOrHoldThem) {
  check({"inspect photos" + kMeasure + "photos", 2, "photos: is read by this run"});
  check({"inspect photos" + kMeasure + "photos --replace", 2, "photos: is read by this run"});
  check({"inspect photos" + kMeasure + "photos/../photos/. --replace", 2, "is read by this run"});
  check({"inspect photos" + kMeasure + ". --replace", 2, "is the folder you are in"});
  put_result("ring3", "inspect", "marsh bowl");
  check({"inspect photos --plan ring3/fit.json --out ring3 --replace", 2, "fit.json"});
  fs::copy(here_ / "plan.json", here_ / "ring3" / "plan.json");
  check({"inspect photos --plan ring3/plan.json --out ring3 --replace", 2,
         "holds plan.json, which this run reads"});
  fs::remove(here_ / "ring3" / "plan.json");
  fs::create_directory_symlink("ring3", here_ / "latest");
  check({"inspect photos" + kMeasure + "latest", 2, "latest: holds an earlier result"});
  check({"inspect latest/scan" + kMeasure + "ring3 --replace", 2, "holds scan, which this run reads"});
  // Allowed: the result in the folder of the photos. These are no photos, so nothing comes of it.
  check({"inspect photos" + kMeasure + "photos/ring3", 2, "photo"});
}

TEST_F(Kept, PlacesThatAreNoFolderOfResults) {
  check({"inspect photos" + kMeasure + "plan.json", 2, "plan.json: is a file"});
  check({"inspect photos" + kMeasure + "plan.json/x", 2, "plan.json/x: cannot"});
  check({"inspect photos" + kMeasure + "photos/photo_1.jpg --replace", 2, "is a file"});
  put("box/tools.txt", "mine");
  check({"inspect photos" + kMeasure + "box --replace", 2, "holds tools.txt and no result.json"});
  check({"inspect photos" + kMeasure + "box/ --replace", 2, "holds tools.txt"});
  check({"inspect photos" + kMeasure + "box/. --replace", 2, "holds tools.txt"});
  check({"inspect photos" + kMeasure + "photos/.. --replace", 2, "is the folder you are in"});
  check({"inspect photos" + kMeasure + "/ --replace", 2, "/: is where a disk begins"});
  check({"inspect photos" + kMeasure + "/proc --replace", 2, "/proc: is where a disk begins"});
  fs::create_directory_symlink("/nowhere/at/all", here_ / "usb");
  check({"inspect photos" + kMeasure + "usb", 2, "usb: is a link that leads nowhere"});
  check({"scan photos" + kMeasure + "usb/ring3", 2, "usb/ring3: cannot be made"});
  fs::create_symlink("round", here_ / "round");
  check({"inspect photos" + kMeasure + "round", 2, "round: is a link that leads nowhere"});
  check({"inspect photos" + kMeasure + long_name() + long_name(), 2, "too long", {}, "", "(of 476 bytes)"});
}

TEST_F(Kept, FilesOfOtherKinds) {
  put_fit();
  put("photo.jpg", kJpeg);
  check({"pour fit.json --plan plan.json --out photo.jpg", 2, "photo.jpg: is a JPEG picture"});
  check({"pour fit.json --plan plan.json --out fit.json", 2, "fit.json: is read by this run"});
  check({"pour fit.json --plan plan.json --out plan.json", 2, "plan.json: is read by this run"});
  fs::create_hard_link(here_ / "fit.json", here_ / "twin.json");
  check({"pour fit.json --plan plan.json --out twin.json", 2, "twin.json: is read by this run"});
  fs::create_symlink("fit.json", here_ / "link.json");
  check({"pour fit.json --plan plan.json --out link.json", 2, "link.json: is read by this run"});
  check({"pour fit.json --plan plan.json --out photos", 2, "photos: is a folder"});
  check({"pour fit.json --plan plan.json --out nowhere/pour.json", 2, "there is no folder nowhere"});
  check({"pour fit.json --plan plan.json --out " + long_name() + long_name(),
         2,
         "the name is too long",
         {},
         "",
         "(of 476 bytes)"});
  put("invoice.pdf", kInvoice);
  check({"cards --out invoice.pdf", 2, "invoice.pdf: is a PDF that interstice did not write"});
  check({"cards --out photo.jpg", 2, "photo.jpg: is a JPEG picture"});
  put("drawing.svg", "<svg/>");
  check({"plan draw plan.json --out drawing.svg", 2,
         "drawing.svg: is an SVG drawing that interstice did not write"});
  put("cut-02.svg", "<svg/>");
  check({"plan patterns plan.json --out cut.svg", 2, "cut-02.svg", {}, "", "(cut-02.svg is somebody's)"});
  put("mine.dxf", "0\nSECTION\n");
  check({"plan draw plan.json --out mine.dxf", 2, "mine.dxf: is a text"});
  put("form.csv", "0,40\n20,38\n40,25\n50,0\n");
  check({"plan make form.csv --out plan.json", 2, "plan.json: is a JSON document"});
  check({"plan form form.csv --out form.csv", 2, "form.csv: is read by this run"});
  check({"plan form form.csv --out plan.json", 2, "plan.json: is a JSON document"});
  put("locked.json", "");
  fs::permissions(here_ / "locked.json", fs::perms(0444));
  check({"plan form form.csv --out locked.json", 2, "locked.json: is write-protected"});
  if (::mknod((here_ / "disk").c_str(), S_IFBLK | 0600, makedev(7, 200)) == 0)
    check({"cards --out disk", 2, "disk: is a disk", {}, "", "(a block device)"});
}

TEST_F(Kept, FilesOfOurOwn) {
  put("form.csv", "0,40\n20,38\n40,25\n50,0\n");
  check({"plan form form.csv --out form.json", 0, ""});
  check({"plan form form.csv --out form.json", 0, "", {"form.json"}, "", "(again)"});
  put("form.json", slurp((here_ / "form.json").string()) + " ");
  check({"plan form form.csv --out form.json", 2, "form.json: is a JSON document", {}, "", "(edited since)"});
  check({"cards --out cards.pdf --count 1", 0, "written: cards.pdf"});
  check({"cards --out cards.pdf --count 2", 0, "written: cards.pdf", {"cards.pdf"}});
  put("cards.pdf", slurp((here_ / "cards.pdf").string()) + "% a note added by a reader of PDFs\n%%EOF\n");
  check({"cards --out cards.pdf --count 1", 2, "or that was changed since", {}, "", "(annotated since)"});
  check({"cards --out " + long_name() + ".pdf --count 1", 0, "written"});
  fs::create_symlink("sheets/cards.pdf", here_ / "to_print.pdf");
  check({"cards --out to_print.pdf --count 1",
         2,
         "cannot be written",
         {},
         "",
         "(a link to a folder that is not there)"});
  fs::create_directory(here_ / "sheets");
  check({"cards --out to_print.pdf --count 1",
         0,
         "written",
         {"sheets"},
         "",
         "(a link; what it leads to is written)"});
  for (const char* name : {".plan.json.20260314.old", ".cards.pdf.99999999.part"}) put(name, "mine");
  check({"cards --out cards2.pdf --count 1", 0, "written", {}, "", "(hidden files of the user's beside it)"});
}

TEST_F(Kept, WhatIsPrinted) {
  put("form.csv", "0,40\n20,38\n40,25\n50,0\n");
  check({"plan form form.csv --json > /dev/full", 2, "standard output: cannot be written"});
  check({"cards --out cards.pdf --json > /dev/full", 2, "standard output: cannot be written"});
  check({"--help > /dev/full", 2, "standard output: cannot be written"});
  check({"--version > /dev/full", 2, "standard output: cannot be written"});
  check({"cards --count 1 --quiet --out /dev/full", 2, "/dev/full: cannot be written"});
  put("log.txt", "yesterday\n");
  const Listing before = listing_of(here_);
  const Ran ran = wait_for(begin({"cards --count 1 --quiet --out /dev/stdout >> log.txt", 0, ""}), folder_);
  EXPECT_EQ(ran.exit_code, 0);
  EXPECT_TRUE(slurp((here_ / "log.txt").string()).starts_with("yesterday\n%PDF"));
}

TEST_F(Kept, Archives) {
  fs::copy(folder_ / "sample", here_ / "ring3", fs::copy_options::recursive);
  const std::string add = "archive add ring3 --date 2026-03-14 --archive ";
  put("shop/work/order.txt", "mine");
  check({add + "shop", 2, "shop: holds work with something in it and is no archive"});
  put("leather/bags/bag.jpg", kJpeg);
  check({add + "leather", 2, "leather: holds bags with something in it and is no archive"});
  put("desk/lock", "the key is under the mat");
  check({add + "desk", 2, "desk: holds lock and is no archive"});
  check({add + "photos", 2, "photos: holds photo_1.jpg and is no archive"});
  check({add + "ring3", 2, "and is no archive"});
  check({add + "plan.json", 2, "plan.json: is not a folder"});
  fs::create_directories(here_ / "half" / "work");
  fs::create_directories(here_ / "half" / "bags");
  check({add + "half",
         0,
         "kept as 2026-03-14",
         {"half/work", "half/bags"},
         "",
         "(making it was cut short before)"});
  put("half/work/mine.txt", "mine");
  put("half/work/1234/data/photo.jpg", kJpeg);
  check({add + "half --again",
         0,
         "kept as",
         {"half/index.sqlite", "half/index.sqlite-wal", "half/index.sqlite-shm"},
         "",
         "(things of the user's in work/)"});
  check({"archive rebuild --archive half",
         0,
         "index made anew",
         {"half/index.sqlite", "half/index.sqlite-wal", "half/index.sqlite-shm"}});
  const std::set<std::string> index{"half/index.sqlite-wal", "half/index.sqlite-shm"};
  fs::remove(here_ / "half" / "index.sqlite");
  put("half/index.sqlite", std::string("SQLite format 3\0\x10\0", 18) + std::string(9000, 'x'));
  check({add + "half --again", 0, "kept as", index, "", "(index.sqlite is another program's database)"});
  check({"archive rebuild --archive half", 2, "is somebody's database", index});
  check({"archive export 2026-03-14-marsh-bowl-ring1 --archive half --out photos", 2,
         "photos: exists already", index});
  check({"archive export 2026-03-14-marsh-bowl-ring1 --archive half --out handed_on", 0, "written", index});
  check({"archive export 2026-03-14-marsh-bowl-ring1 --archive half --out handed_on", 2, "exists already",
         index, "", "(again)"});
}

// Whole runs on a rendered scan, small enough to be short.
class KeptRuns : public KeptTable {
 protected:
  void SetUp() override {
    KeptTable::SetUp();
    const fs::path scene = fs::path(INTERSTICE_RESULTS) / "hard" / "kept_scene";
    static const bool rendered = [&] {
      fs::remove_all(scene);
      renderer::write_scan_folder(renderer::make_scene(small_scene()), scene);
      return true;
    }();
    ASSERT_TRUE(rendered);
    fs::copy(scene / "photos", here_ / "photos", fs::copy_options::recursive);
    fs::copy(scene / "plan.json", here_ / "plan.json");
  }
  const std::string scan_ = "scan photos" + kMeasure;

  // While the run is at work: its hidden folder is there.
  void meanwhile(const KeptCase& c, const std::function<void()>& change) const {
    const pid_t child = begin(c);
    const auto at_work = [&] {
      for (const auto& entry : fs::directory_iterator(here_)) {
        if (core::is_temporary_name(entry.path().filename().string())) return true;
      }
      return false;
    };
    for (int i = 0; i < 2000 && !at_work(); ++i) std::this_thread::sleep_for(5ms);
    EXPECT_TRUE(at_work());
    change();
    const Listing before = kept_of(listing_of(here_), c);
    Listing own;
    for (const auto& [name, digest] : before) {
      if (name.find(".interstice-") == std::string::npos) own[name] = digest;
    }
    judge(c, own, wait_for(child, folder_));
  }
};

TEST_F(KeptRuns, ReplacedWhenAskedTo) {
  check({scan_ + "ring3", 0, "written: ring3"});
  check({scan_ + "ring3 --replace", 0, "written: ring3", {"ring3"}});
  const std::string plain = std::string("FAULT_DISK=plain LD_PRELOAD=") + FAULT_LIBRARY;
  {
    KeptCase c{scan_ + "ring3 --replace", 0, "written: ring3", {"ring3"}, plain};
    const Listing before = kept_of(listing_of(here_), c);
    const Ran ran = wait_for(begin(c), folder_);
    c.before_it.clear();
    c.told = "(on a disk that cannot exchange names)";
    judge(c, before, ran);
  }
  fs::create_directory(here_ / "empty");
  fs::create_directory_symlink("empty", here_ / "link");
  check({scan_ + "link", 0, "written: link", {"empty"}, "", "(a link to an empty folder)"});
  check({scan_ + long_name(), 0, "written", {}, "", "(119 letters, 238 bytes)"});
  check({scan_ + "ring4 --json > /dev/full",
         2,
         "standard output: cannot be written",
         {},
         "",
         "(the result is written)"});
  check({scan_ + "ring5", 2, "ring5/", {}, "ulimit -f 60;", "(the disk takes no more)"});
}

TEST_F(KeptRuns, ThingsThatComeMeanwhile) {
  meanwhile(
      {scan_ + "ring3", 2, "the new result is kept as", {}, "", "(a folder ring3 came into being meanwhile)"},
      [&] { put("ring3/notes.txt", "mine"); });
  EXPECT_TRUE(fs::exists(here_ / "ring3-new" / "cameras.json"));
  meanwhile({scan_ + "ring3.5", 2, "kept as", {}, "", "(a file ring3.5 came into being meanwhile)"},
            [&] { put("ring3.5", "mine"); });
  check({scan_ + "ring4", 0, "written: ring4"});
  meanwhile({scan_ + "ring4 --replace", 2, "kept as", {}, "", "(a photo was put into ring4 meanwhile)"},
            [&] { put("ring4/photo.jpg", kJpeg); });
  EXPECT_TRUE(fs::exists(here_ / "ring4-new" / "cameras.json"));
  check({scan_ + "ring5", 0, "written: ring5"});
  meanwhile({scan_ + "ring5 --replace",
             2,
             "scan.json was changed",
             {},
             "",
             "(scan.json in ring5 was edited meanwhile)"},
            [&] { put("ring5/scan.json", "mine"); });
  meanwhile({scan_ + "ring5-new --replace", 0, "written", {}, "", "(ring5-new was renamed meanwhile)"},
            [&] { fs::rename(here_ / "ring5-new", here_ / "saved"); });
}

}  // namespace
}  // namespace interstice::hard
