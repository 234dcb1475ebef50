// The real program: killed at write steps, its lines and exit codes.
#include <gtest/gtest.h>
#include <sys/wait.h>

#include "archive/archive.h"
#include "archive/gap_statistics.h"
#include "archive/sample.h"

namespace fs = std::filesystem;
using namespace interstice;

namespace {

const std::string kProgram = INTERSTICE_PROGRAM;
const std::string kFaults = FAULT_LIBRARY;

}  // namespace

TEST(ArchiveCommand, KilledAtWriteStepsLeavesOldOrNew) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 6);
  sample::write_results(scratch / "first", plan, sample::built(plan, {.seed = 1}));
  sample::write_results(scratch / "second", plan, sample::built(plan, {.seed = 2}), 30);
  const fs::path base = scratch / "base", root = scratch / "archive";
  archive::Archive::open_or_make(base).add(sample::request(scratch / "first", "old"));
  const std::string add = "'" + kProgram + "' archive add '" + (scratch / "second").string() +
                          "' --name new --archive '" + root.string() + "'";
  const auto fresh = [&] {
    fs::remove_all(root);
    fs::copy(base, root, fs::copy_options::recursive);
  };
  fresh();
  const fs::path count = scratch / "count";
  ASSERT_EQ(sample::shell("LD_PRELOAD='" + kFaults + "' FAULT_COUNT='" + count.string() + "' " + add).first,
            0);
  const long steps = std::stol(sample::file_bytes(count));
  ASSERT_GE(steps, 200);
  int whole_before = 0, whole_after = 0;
  for (long at = 1; at <= steps;
       at += 1 + (steps - at) / 12) {  // denser towards the end, where the entry appears
    fresh();
    const auto [code, out] =
        sample::shell("LD_PRELOAD='" + kFaults + "' FAULT_MODE=kill FAULT_AT=" + std::to_string(at) + " " +
                      add + "; exit $?");
    EXPECT_EQ(code, 128 + SIGKILL) << out;
    const std::size_t entries = sample::expect_whole(root).size();
    (entries == 1 ? whole_before : whole_after) += 1;
    ASSERT_TRUE(entries == 1 || entries == 2) << "killed at step " << at;
  }
  EXPECT_GT(whole_before, 10);
  EXPECT_GT(whole_after, 3);
}

TEST(ArchiveCommand, LinesAndExitCodes) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 12);
  sample::write_results(scratch / "first", plan, sample::built(plan, {.seed = 1}));
  sample::write_results(scratch / "second", plan, sample::built(plan, {.seed = 2}));
  const std::string in =
      "cd '" + scratch.path().string() + "' && INTERSTICE_ARCHIVE=kept '" + kProgram + "' archive ";
  auto [code, out] = sample::shell(in + "list");
  EXPECT_EQ(code, 2);
  EXPECT_EQ(out, "interstice: kept: no such archive; archive add makes one\n");
  std::tie(code, out) =
      sample::shell(in + "add first --name Heron --date 2026-03-01 --wood walnut --note 'dry fit'");
  EXPECT_EQ(code, 0);
  EXPECT_EQ(out.substr(0, 42), "kept as 2026-03-01-heron-ring1: 13 files, ");
  EXPECT_EQ(sample::shell(in + "add second --name Heron --date 2026-03-09 --stage turned").first, 0);
  std::tie(code, out) = sample::shell(in + "add first --name Heron --date 2026-03-01");
  EXPECT_EQ(code, 2);
  EXPECT_EQ(
      out, "interstice: first/fit.json: is kept already as 2026-03-01-heron-ring1; --again keeps it twice\n");
  std::tie(code, out) = sample::shell(in + "list --wood WALNUT");
  EXPECT_EQ(code, 0);
  EXPECT_NE(out.find("2026-03-01-heron-ring1  Heron  1     glued  walnut"), std::string::npos) << out;
  EXPECT_NE(out.find("\n1 entry\n"), std::string::npos) << out;
  EXPECT_EQ(sample::shell(in + "verify").second, "2 of 2 entries whole\n");
  EXPECT_EQ(sample::shell(in + "rebuild").second, "index made anew from 2 entries\n");
  EXPECT_EQ(sample::shell(in + "compare 2026-03-01 2026-03-09 --json | grep -c '\"label\"'").second, "12\n");
  std::tie(code, out) = sample::shell(in + "learn");
  EXPECT_EQ(code, 0);
  EXPECT_EQ(out.substr(0, 24), "12 seams of 1 piece, as ") << out;  // the turned one does not count
  const plan::Plan wide = sample::plan(1, 6);  // six faces so far apart that they make no seam
  sample::write_results(scratch / "wide", wide, sample::built(wide));
  EXPECT_EQ(sample::shell(in + "add wide --name Wide --archive few").first, 0);
  EXPECT_EQ(sample::shell(in + "learn --archive few").first, 3);

  // The next plan takes its gap from what was learnt, or says in one line why it cannot.
  sample::write_file(scratch / "form.csv", "0,60\n30,55\n55,38\n68,18\n72,0\n");
  const std::string make = "cd '" + scratch.path().string() + "' && '" + kProgram +
                           "' plan make form.csv --piece-size 40 --thickness 10 --out next.json --gap-from ";
  std::tie(code, out) = sample::shell(make + "few");
  EXPECT_EQ(code, 3);
  EXPECT_EQ(
      out,
      "interstice: few: holds 0 measured seams, and at least 5 are needed to say what gap to plan: leave "
      "--gap-from out, or give --gap\n");
  EXPECT_EQ(sample::shell(make + "nowhere").first, 2);
  EXPECT_EQ(sample::shell(make + "kept --gap 4").first, 2);
  EXPECT_FALSE(fs::exists(scratch / "next.json"));
  std::tie(code, out) = sample::shell(make + "kept");
  EXPECT_EQ(code, 0) << out;
  EXPECT_NE(out.find(" mm learnt from 12 seams of 1 piece in kept: "), std::string::npos) << out;
  const double learnt =
      archive::gap_to_plan_mm(archive::Archive::open(scratch / "kept").seams_to_learn_from(), 0.95, 0.95, 3.0)
          .value();
  EXPECT_NEAR(plan::read_plan(scratch / "next.json").planned_gap_mm, std::max(3.0, learnt), 0.1 + 1e-9);
  EXPECT_GE(plan::read_plan(scratch / "next.json").planned_gap_mm, learnt - 1e-9);
  EXPECT_EQ(sample::shell(in + "export 2026-03-01 --out handed/on").first, 0);
  EXPECT_EQ(sample::shell("cd '" + (scratch / "handed/on").string() +
                          "' && sha256sum -c --strict --quiet manifest-sha256.txt")
                .second,
            "");
  const fs::path csv = scratch / "kept/bags/2026-03-01-heron-ring1/data/seams.csv";
  fs::permissions(csv, fs::perms::owner_write, fs::perm_options::add);
  sample::write_file(csv, "altered");
  std::tie(code, out) = sample::shell(in + "verify");
  EXPECT_EQ(code, 1);
  EXPECT_NE(out.find("2026-03-01-heron-ring1: data/seams.csv: the content has changed\n"), std::string::npos)
      << out;
  EXPECT_EQ(sample::shell(in + "show ../../etc/passwd").first, 2);
  EXPECT_EQ(sample::shell(in + "list --from yesterday").first, 2);
  EXPECT_EQ(sample::shell(in + "frobnicate").first, 2);
}
