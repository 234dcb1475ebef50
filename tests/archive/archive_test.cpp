// The archive as a whole: what goes in, how it is found, handed on and made whole again.
#include "archive/archive.h"
#include "archive/tells_location.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <opencv2/imgcodecs.hpp>

#include "archive/bag.h"
#include "archive/export.h"
#include "archive/gap_statistics.h"
#include "archive/photo_privacy.h"
#include "archive/sample.h"
#include "archive/sqlite.h"
#include "core/errors.h"

namespace fs = std::filesystem;
using namespace interstice;

namespace {

class ArchiveTest : public testing::Test {
 protected:
  ArchiveTest() : plan_(sample::plan(2, 6)), fit_(sample::built(plan_)) {
    sample::write_results(results_, plan_, fit_);
  }
  // Another measurement of the same plan, in a folder of its own.
  fs::path measured(unsigned seed, const sample::Build& build = {}) {
    sample::Build b = build;
    b.seed = seed;
    const fs::path folder = scratch_ / ("measured" + std::to_string(seed));
    sample::write_results(folder, plan_, sample::built(plan_, b));
    return folder;
  }
  std::string refused(const archive::AddRequest& request) {
    try {
      archive::Archive::open_or_make(root_).add(request);
    } catch (const core::InputError& e) {
      EXPECT_TRUE(fs::is_empty(root_ / "bags"));
      EXPECT_TRUE(fs::is_empty(root_ / "work"));
      return e.what();
    }
    return "";
  }

  sample::Scratch scratch_;
  const fs::path root_ = scratch_ / "archive", results_ = scratch_ / "results";
  plan::Plan plan_;
  seams::FitDocument fit_;
};

}  // namespace

TEST_F(ArchiveTest, EverythingGivenIsKeptAsItWas) {
  archive::AddRequest request = sample::request(results_, "Marsh bowl \xc3\xa9");
  sample::write_file(scratch_ / "W1.lens.json", "{}");
  sample::write_file(scratch_ / "shots/IMG 1.JPG", sample::photo(1));
  sample::write_file(scratch_ / "shots/list.txt", "not a photo");
  sample::write_file(results_ / "own thing.txt", "mine");
  request.lens = scratch_ / "W1.lens.json";
  request.photos = {scratch_ / "shots"};
  request.notes = "third ring fought back";
  request.wood = "walnut, ash";
  const archive::Added added = archive::Archive::open_or_make(root_).add(request);
  EXPECT_EQ(added.entry.id, "2026-03-14-marsh-bowl-e-ring2");
  EXPECT_EQ(added.left_out, std::vector<std::string>{"own thing.txt"});
  const archive::Archive archive = archive::Archive::open(root_);
  const fs::path data = archive.bag(added.entry.id) / "data";
  for (const auto& [name, bytes] : sample::contents(results_)) {
    if (name == "own thing.txt") continue;
    EXPECT_EQ(sample::file_bytes(data / name), bytes) << name;
  }
  EXPECT_EQ(sample::file_bytes(data / "photos/IMG 1.JPG"), sample::photo(1));
  EXPECT_FALSE(fs::exists(data / "photos/list.txt"));
  EXPECT_EQ(sample::file_bytes(data / "notes.txt"), "third ring fought back\n");
  EXPECT_EQ(cv::imread((data / "preview.png").string()).cols, 1024);
  EXPECT_EQ(sample::file_bytes(data / "pieces.glb").substr(0, 4), "glTF");
  const archive::Entry e = archive.find("marsh BOWL \xc3\x89");
  EXPECT_EQ(e.wood, "walnut, ash");
  EXPECT_EQ(e.notes, "third ring fought back\n");
  EXPECT_EQ(e.pieces, 12);
  double smallest = 99;
  for (const seams::FitSeam& s : fit_.seams) smallest = std::min(smallest, *s.narrowest_mm);
  EXPECT_NEAR(*e.smallest_mm, smallest, 1e-4);
  EXPECT_EQ(e.too_tight + e.pinched + e.doubtful + e.clear + e.unseen, static_cast<int>(fit_.seams.size()));
  // The bag as coreutils sees it.
  const auto [code, out] =
      sample::shell("cd '" + archive.bag(e.id).string() +
                    "' && sha256sum -c --strict --quiet manifest-sha256.txt && "
                    "sha512sum -c --strict --quiet manifest-sha512.txt && find data -type f | wc -l");
  EXPECT_EQ(code, 0) << out;
  EXPECT_EQ(out, std::to_string(e.payload_files) + "\n");
}

TEST_F(ArchiveTest, OrthoPictureBecomesThePreview) {
  cv::imwrite((results_ / "scan/ortho.png").string(), cv::Mat(400, 3000, CV_8UC3, cv::Scalar(10, 200, 30)));
  const archive::Added added = archive::Archive::open_or_make(root_).add(sample::request(results_, "bowl"));
  const cv::Mat preview = cv::imread((root_ / "bags" / added.entry.id / "data/preview.png").string());
  EXPECT_EQ(preview.cols, 1024);
  EXPECT_EQ(preview.at<cv::Vec3b>(50, 500), cv::Vec3b(10, 200, 30));
}

TEST_F(ArchiveTest, FindsByNameDateWoodRingStageAndWidth) {
  archive::Archive archive = archive::Archive::open_or_make(root_);
  const auto add = [&](unsigned seed, const char* name, const char* date, const char* wood, int ring,
                       archive::PieceStage stage) {
    archive::AddRequest r = sample::request(measured(seed), name);
    r.date = date;
    r.wood = wood;
    r.ring = ring;
    r.stage = stage;
    archive.add(r);
  };
  add(1, "Heron", "2026-01-02", "Walnut", 1, archive::PieceStage::glued);
  add(2, "Heron", "2026-01-05", "Walnut", 2, archive::PieceStage::glued);
  add(3,
      "Stra\xc3\x9f"
      "e",
      "2026-02-01", "field ash", 3, archive::PieceStage::turned);
  const auto count = [&](const archive::EntryFilter& f) { return archive.list(f).size(); };
  EXPECT_EQ(count({}), 3u);
  EXPECT_EQ(archive.list({})[0].name,
            "Stra\xc3\x9f"
            "e");  // newest first
  EXPECT_EQ(count({.name = "hero"}), 2u);
  EXPECT_EQ(count({.name = "STRASSE"}), 1u);
  EXPECT_EQ(count({.name = "%"}), 0u);
  EXPECT_EQ(count({.name = "'; DROP TABLE entry; --"}), 0u);
  EXPECT_EQ(count({.wood = "ASH"}), 1u);
  EXPECT_EQ(count({.from = "2026-01-05"}), 2u);
  EXPECT_EQ(count({.from = "2026-01-03", .to = "2026-01-31"}), 1u);
  EXPECT_EQ(count({.ring = 2}), 1u);
  EXPECT_EQ(count({.stage = archive::PieceStage::turned}), 1u);
  const double width = *archive.list({.ring = 1})[0].smallest_mm;
  const std::size_t below = count({.smallest_below_mm = width}), from = count({.smallest_from_mm = width});
  EXPECT_EQ(below + from, 3u);
  EXPECT_GE(from, 1u);
  EXPECT_THROW(archive.find("Heron"), core::InputError);  // two of them
  EXPECT_EQ(archive.find("2026-01-05").name, "Heron");
  EXPECT_THROW(archive.find("nothing"), core::InputError);
  EXPECT_THROW(archive.find(""), core::InputError);
}

TEST_F(ArchiveTest, SameMeasurementTwiceIsRefusedUnlessWanted) {
  archive::Archive archive = archive::Archive::open_or_make(root_);
  archive::AddRequest request = sample::request(results_, "bowl");
  const std::string id = archive.add(request).entry.id;
  EXPECT_THROW(archive.add(request), core::InputError);
  request.again = true;
  EXPECT_EQ(archive.add(request).entry.id, id + "-2");
  request.again = false;
  request.stage = archive::PieceStage::turned;  // another stage is another entry
  EXPECT_EQ(archive.add(request).entry.id, id + "-turned");
}

TEST_F(ArchiveTest, IdenticalPhotosAreStoredOnceInWholeBags) {
  archive::Archive archive = archive::Archive::open_or_make(root_);
  sample::write_file(scratch_ / "a/one.jpg", sample::photo(1));
  sample::write_file(scratch_ / "b/other name.jpg", sample::photo(1));
  sample::write_file(scratch_ / "b/two.jpg", sample::photo(2));
  archive::AddRequest request = sample::request(measured(1), "bowl");
  request.photos = {scratch_ / "a"};
  const std::string first = archive.add(request).entry.id;
  request = sample::request(measured(2), "bowl");
  request.photos = {scratch_ / "b"};
  const archive::Added second = archive.add(request);
  EXPECT_EQ(second.shared_files, 1u);
  struct stat x {
  }, y{};
  ASSERT_EQ(::stat((archive.bag(first) / "data/photos/one.jpg").c_str(), &x), 0);
  ASSERT_EQ(::stat((archive.bag(second.entry.id) / "data/photos/other name.jpg").c_str(), &y), 0);
  EXPECT_EQ(x.st_ino, y.st_ino);
  sample::expect_whole(root_);
  // A damaged twin is not passed on.
  const fs::path one = archive.bag(first) / "data/photos/one.jpg";
  fs::permissions(one, fs::perms::owner_write, fs::perm_options::add);
  std::string bytes = sample::photo(1);
  bytes[100] = static_cast<char>(bytes[100] ^ 1);
  sample::write_file(one, bytes);
  request = sample::request(measured(3), "bowl");
  request.photos = {scratch_ / "a"};
  const archive::Added third = archive.add(request);
  EXPECT_EQ(third.shared_files, 0u);
  EXPECT_TRUE(archive.verify(third.entry.id, 1).faults.empty());
}

TEST_F(ArchiveTest, BadInputIsNamedAndLeavesNothing) {
  EXPECT_NE(refused(sample::request(scratch_ / "nowhere", "x")).find("nowhere"), std::string::npos);
  EXPECT_NE(refused(sample::request(results_, "a\nb")).find("--name"), std::string::npos);
  EXPECT_NE(refused(sample::request(results_,
                                    "x\xe2\x80\xae"
                                    "gpj"))
                .find("U+202E"),
            std::string::npos);
  archive::AddRequest request = sample::request(results_, "x");
  request.date = "2026-02-30";
  EXPECT_NE(refused(request).find("--date"), std::string::npos);
  fs::create_symlink("/etc/passwd", results_ / "scan/ortho.png");
  EXPECT_NE(refused(sample::request(results_, "x")).find("symbolic link"), std::string::npos);
  fs::remove(results_ / "scan/ortho.png");
  sample::write_file(scratch_ / "p/A.jpg", "1");
  sample::write_file(scratch_ / "p/a.JPG", "2");
  request = sample::request(results_, "x");
  request.photos = {scratch_ / "p"};
  EXPECT_NE(refused(request).find("only in case"), std::string::npos);
  sample::write_file(scratch_ / "q/bad\nname.jpg", "1");
  request.photos = {scratch_ / "q"};
  EXPECT_NE(refused(request).find("U+000A"), std::string::npos);
  ASSERT_EQ((fs::create_directories(scratch_ / "r"), ::mkfifo((scratch_ / "r/pipe.jpg").c_str(), 0600)), 0);
  request.photos = {scratch_ / "r"};
  EXPECT_NE(refused(request).find("not a regular file"), std::string::npos);
  sample::write_file(results_ / "fit.json", "{");
  EXPECT_NE(refused(sample::request(results_, "x")).find((results_ / "fit.json").string()),
            std::string::npos);
}

TEST_F(ArchiveTest, OtherFoldersAreNotTakenForAnArchive) {
  sample::write_file(scratch_ / "full/letter.txt", "dear");
  EXPECT_THROW(archive::Archive::open_or_make(scratch_ / "full"), core::InputError);
  EXPECT_THROW(archive::Archive::open(scratch_ / "full"), core::InputError);
  EXPECT_THROW(archive::Archive::open_or_make(scratch_ / "full/letter.txt"), core::InputError);
  archive::Archive::open_or_make(root_).add(sample::request(results_, "x"));
  fs::rename(root_ / "bags", scratch_ / "bags");
  fs::create_directory_symlink(scratch_ / "bags", root_ / "bags");
  EXPECT_THROW(archive::Archive::open(root_), core::InputError);
}

TEST_F(ArchiveTest, IndexIsNeverTheOnlyCopy) {
  {
    archive::Archive archive = archive::Archive::open_or_make(root_);
    archive.add(sample::request(measured(1), "one"));
    archive.add(sample::request(measured(2), "two"));
  }
  const auto remembered = [&] {
    std::string all;
    const archive::Archive archive = archive::Archive::open(root_);
    for (const archive::Entry& e : archive.list({})) {
      const archive::Entry full = archive.find(e.id);
      all += e.id + e.name + e.date + std::to_string(e.too_tight) + std::to_string(*e.smallest_mm) +
             std::to_string(full.seams.size()) + std::to_string(*full.seams[0].planned_mm) +
             full.files[0].sha256;
    }
    return all;
  };
  const std::string before = remembered();
  const auto drop_index = [&] {
    for (const char* end : {"", "-wal", "-shm"}) fs::remove(root_ / (std::string("index.sqlite") + end));
  };
  drop_index();
  EXPECT_EQ(remembered(), before);
  drop_index();
  EXPECT_EQ(archive::Archive::rebuild(root_).entries, 2u);
  EXPECT_EQ(remembered(), before);
  drop_index();
  sample::write_file(root_ / "index.sqlite", std::string(9000, '?'));
  EXPECT_EQ(remembered(), before);
  // A bag copied in by hand, or taken away, is noticed; a folder that is none does no harm.
  fs::rename(root_ / "bags/2026-03-14-two-ring2", scratch_ / "aside");
  EXPECT_EQ(archive::Archive::open(root_).list({}).size(), 1u);
  fs::rename(scratch_ / "aside", root_ / "bags/2026-03-14-two-ring2");
  EXPECT_EQ(remembered(), before);
  fs::create_directory(root_ / "bags/stray");
  EXPECT_EQ(archive::Archive::open(root_).unreadable().size(), 1u);
  EXPECT_EQ(archive::Archive::rebuild(root_).faults.size(), 1u);
  EXPECT_EQ(archive::Archive::open(root_).verify("stray", 1).faults.empty(), false);
  EXPECT_EQ(remembered(), before);
}

TEST_F(ArchiveTest, OldIndexIsMigratedAndNewerOneRefused) {
  archive::Archive::open_or_make(root_).add(sample::request(results_, "one"));
  const std::string file = (root_ / "index.sqlite").string();
  const auto alter = [&](const std::string& sql) {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(file.c_str(), &db), SQLITE_OK);
    ASSERT_EQ(sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sqlite3_errmsg(db);
    sqlite3_close(db);
  };
  alter("DROP TABLE file; PRAGMA user_version = 1;");  // version 1 had no files
  {
    const archive::Archive archive = archive::Archive::open(root_);
    EXPECT_EQ(archive.find("one").files.size(),
              archive::read_entry(archive.bag(archive.ids()[0])).files.size());
  }
  alter("PRAGMA user_version = 99;");
  EXPECT_THROW(archive::Archive::open(root_), archive::IndexTooNew);
}

TEST_F(ArchiveTest, ExportTakesTheLocationOutAndNothingElse) {
  const std::string with = sample::photo(5, true), without = sample::photo(6, false);
  const std::string numerator("\x07\x5b\xcd\x15", 4),
      swapped("\x15\xcd\x5b\x07", 4);  // 123456789, the seconds
  const auto tells = [&](const std::string& s) {
    return s.find(numerator) != std::string::npos || s.find(swapped) != std::string::npos ||
           s.find("51,29.123N") != std::string::npos;
  };
  ASSERT_TRUE(tells(with));
  EXPECT_TRUE(tells_location(with));
  EXPECT_FALSE(tells_location(without));
  sample::write_file(scratch_ / "p/1.jpg", with);
  sample::write_file(scratch_ / "p/2.jpg", without);
  archive::Archive archive = archive::Archive::open_or_make(root_);
  archive::AddRequest request = sample::request(results_, "bowl");
  request.photos = {scratch_ / "p"};
  const std::string id = archive.add(request).entry.id;
  const archive::Exported exported = archive::export_entry(archive, id, scratch_ / "out", {}, 1);
  EXPECT_EQ(exported.cleaned, (std::vector<std::string>{"photos/1.jpg", "photos/2.jpg", "preview.png"}));
  EXPECT_TRUE(archive::verify_bag(scratch_ / "out", 1).empty());
  const std::string clean = sample::file_bytes(scratch_ / "out/data/photos/1.jpg");
  EXPECT_FALSE(tells(clean));
  // Same pixels, and the lens data the program needs.
  const auto pixels = [](const std::string& jpeg) {
    return cv::imdecode(std::vector<char>(jpeg.begin(), jpeg.end()), cv::IMREAD_UNCHANGED);
  };
  EXPECT_EQ(cv::norm(pixels(clean), pixels(with), cv::NORM_INF), 0);
  const auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(clean.data()),
                                               static_cast<long>(clean.size()));
  image->readMetadata();
  EXPECT_EQ(image->exifData()["Exif.Photo.FocalLength"].toFloat(), 5.7f);
  EXPECT_EQ(image->exifData()["Exif.Image.Orientation"].toString(), "6");
  // The archive itself keeps the photo as it was; asked for, it goes out so.
  EXPECT_EQ(sample::file_bytes(archive.bag(id) / "data/photos/1.jpg"), with);
  archive::export_entry(archive, id, scratch_ / "asked", {.keep_location = true}, 1);
  EXPECT_EQ(sample::file_bytes(scratch_ / "asked/data/photos/1.jpg"), with);
  archive::export_entry(archive, id, scratch_ / "none", {.without_photos = true}, 1);
  EXPECT_FALSE(fs::exists(scratch_ / "none/data/photos"));
  EXPECT_TRUE(archive::verify_bag(scratch_ / "none", 1).empty());
  EXPECT_THROW(archive::export_entry(archive, id, scratch_ / "none", {}, 1),
               core::InputError);  // stands already
}

TEST_F(ArchiveTest, ExportRefusesWhatItCannotVouchFor) {
  sample::write_file(scratch_ / "p/broken.jpg", "not a picture at all");
  archive::Archive archive = archive::Archive::open_or_make(root_);
  archive::AddRequest request = sample::request(results_, "bowl");
  request.photos = {scratch_ / "p"};
  const std::string id = archive.add(request).entry.id;
  EXPECT_THROW(archive::export_entry(archive, id, scratch_ / "out", {}, 1), core::InputError);
  EXPECT_FALSE(fs::exists(scratch_ / "out"));
  const fs::path csv = archive.bag(id) / "data/seams.csv";
  fs::permissions(csv, fs::perms::owner_write, fs::perm_options::add);
  sample::write_file(csv, "altered");
  EXPECT_THROW(archive::export_entry(archive, id, scratch_ / "out", {.without_photos = true}, 1),
               core::InputError);
  EXPECT_FALSE(fs::exists(scratch_ / "out"));
}

TEST_F(ArchiveTest, LearnsFromSeamsAsFirstBuilt) {
  archive::Archive archive = archive::Archive::open_or_make(root_);
  // The first scan as built; the second, after corrections, must not count; nor a turned one.
  archive::AddRequest request = sample::request(measured(1), "bowl");
  archive.add(request);
  request = sample::request(measured(2), "bowl");
  request.date = "2026-03-20";
  archive.add(request);
  request = sample::request(measured(3), "another");
  request.stage = archive::PieceStage::turned;
  archive.add(request);
  const std::vector<archive::LearnedSeam> seams = archive.seams_to_learn_from();
  const seams::FitDocument first = seams::read_fit(scratch_ / "measured1/fit.json");
  ASSERT_EQ(seams.size(), first.seams.size());
  for (std::size_t i = 0; i < seams.size(); ++i) EXPECT_EQ(seams[i].built_mm, *first.seams[i].narrowest_mm);
  // Planned widths are those of the undisturbed plan.
  const seams::FitDocument ideal = sample::built(plan_, {.place_sd_mm = 0, .turn_sd_deg = 0});
  ASSERT_EQ(ideal.seams.size(), seams.size());
  for (std::size_t i = 0; i < seams.size(); ++i)
    EXPECT_NEAR(seams[i].planned_mm, *ideal.seams[i].narrowest_mm, 0.01);
  EXPECT_GT(*archive::gap_to_plan_mm(seams, 0.95, 0.95, 3.0), 3.0);
}

// Resin stops where a seam is narrowest, so that is how wide it was built: mouth or throat.
TEST_F(ArchiveTest, LearnsFromThroatsThatAreNarrowerThanTheirMouths) {
  archive::Archive archive = archive::Archive::open_or_make(root_);
  seams::FitDocument fit = sample::built(plan_, {});
  const double mouth = *fit.seams[0].narrowest_mm, other = *fit.seams[1].narrowest_mm;
  fit.seams[0].throat_mm = mouth - 0.8, fit.seams[0].throat_u95_mm = 0.5;
  fit.seams[1].throat_mm = other + 0.8, fit.seams[1].throat_u95_mm = 0.5;
  sample::write_results(scratch_ / "pinched", plan_, fit);
  archive.add(sample::request(scratch_ / "pinched", "bowl"));
  const std::vector<archive::LearnedSeam> seams = archive.seams_to_learn_from();
  ASSERT_EQ(seams.size(), fit.seams.size());
  EXPECT_NEAR(seams[0].built_mm, mouth - 0.8, 1e-4);
  EXPECT_NEAR(seams[0].u95_mm, 0.5, 1e-9);
  EXPECT_NEAR(seams[1].built_mm, other, 1e-4);
  EXPECT_NEAR(seams[1].u95_mm, *fit.seams[1].u95_mm, 1e-4);
}
