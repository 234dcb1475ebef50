// The scans kept beside the project: finer photos through another, unknown lens, a hard side light,
// near-black wood, prints at another scale, missing pieces. What a scan must show, and that half of its
// photos, however drawn, call no tight seam clear. Skipped where ../shared/scans is not there. A minute and a
// half on two processors.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <random>

#include "app/run_program.h"
#include "channels/void_darts.h"
#include "core/median.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using Pair = std::pair<std::string, std::string>;

const fs::path kScans = fs::path(INTERSTICE_SOURCE_DIR) / ".." / "shared" / "scans";
const fs::path kResults = INTERSTICE_RESULTS;

struct Asked {
  std::string scan;
  double seen_share, bias_mm, rms_mm, median_u95_mm;
};

void PrintTo(const Asked& asked, std::ostream* out) {
  *out << asked.scan;
}

Pair pair_of(const json& seam) {
  return std::minmax(seam["tiles"][0].get<std::string>(), seam["tiles"][1].get<std::string>());
}

class SharedScan : public ::testing::TestWithParam<Asked> {
 protected:
  void SetUp() override {
    if (!fs::exists(data() / "photos")) GTEST_SKIP() << "no ../shared/scans/" << GetParam().scan;
    truth_ = json::parse(slurp(data() / "truth.json"));
  }
  fs::path data() const { return kScans / GetParam().scan; }

  // By pair of pieces, the seams as measured without a lens file.
  std::map<Pair, json> inspected(const fs::path& photos, const std::string& name) const {
    const json scan = json::parse(slurp(data() / "scan.json"));
    const fs::path out = kResults / (name + "_out");
    fs::remove_all(out);
    fs::create_directories(kResults);
    const Ran ran = run_program("inspect " + photos.string() + " --plan " + (data() / "plan.json").string() +
                                    " --check-line " + scan["check_line_measured_mm"].dump() +
                                    " --quiet --out " + out.string(),
                                kResults);
    EXPECT_LE(ran.exit_code, 1) << ran.err;
    std::map<Pair, json> seams;
    const json fit = json::parse(slurp(out / "fit.json"));
    for (const json& s : fit["seams"]) seams[pair_of(s)] = s;
    return seams;
  }

  // Calls use(true seam, measured seam) for seams of the contract: to 8 mm wide, from 5 mm long.
  template <class Use>
  int each_scored(const std::map<Pair, json>& seams, const Use& use) const {
    int scored = 0;
    for (const json& s : truth_["seams"]) {
      if (s["mouth_mm"] > 8 || s["length_mm"] < 5) continue;
      ++scored;
      const auto it = seams.find(pair_of(s));
      if (it != seams.end() && !it->second["narrowest_mm"].is_null()) use(s, it->second);
    }
    return scored;
  }

  json truth_;
};

TEST_P(SharedScan, ShowsWhatIsAskedOfIt) {
  std::vector<double> u95;
  double sum = 0, sum2 = 0, covered = 0, stated2 = 0;
  int clear_called_tight = 0;
  const int scored =
      each_scored(inspected(data() / "photos", GetParam().scan), [&](const json& t, const json& m) {
        const double error = m["narrowest_mm"].get<double>() - t["mouth_mm"].get<double>();
        const bool tight = t["mouth_mm"] < truth_["smallest_fill"];
        sum += error;
        sum2 += error * error;
        u95.push_back(m["u95_mm"]);
        covered += std::abs(error) <= u95.back() ? 1 : 0;
        stated2 += std::pow(2 * error / u95.back(), 2);
        if (tight) {
          EXPECT_NE(m["verdict"], "clear") << t["tiles"];
        }
        // Shut behind its mouth a seam is named by the likelier fault.
        clear_called_tight +=
            !tight && t["clearance_mm"] >= truth_["smallest_fill"] && m["verdict"] == "too tight" ? 1 : 0;
      });
  const auto seen = static_cast<double>(u95.size());
  EXPECT_GE(seen, GetParam().seen_share * scored);
  EXPECT_LE(std::abs(sum / seen), GetParam().bias_mm);
  EXPECT_LE(std::sqrt(sum2 / seen), GetParam().rms_mm);
  EXPECT_LE(core::median(u95), GetParam().median_u95_mm);
  // Two seams are chance. Nor is more stated than errors are, by half as much again: of all seams, as the few beyond u95 are too
  // few to tell.
  EXPECT_GE(covered, 0.92 * seen - 2);
  EXPECT_GE(std::sqrt(stated2 / seen), 2.0 / 3);
  EXPECT_LE(clear_called_tight, 1);
}

// With backs fitted to the form, what is to be mixed for all voids is what darts thrown at the true pieces find between
// them and at the rim, up to the planes of their widest outlines: how far faces stand above those (2 % of the volume for
// a corner broken by 0.3 mm) these truths do not tell.
TEST_P(SharedScan, ResinVolumeIsThatOfTheTruePieces) {
  const fs::path fit = kResults / (GetParam().scan + "_out") / "fit.json",
                 out = kResults / (GetParam().scan + "_pour.json");
  if (!fs::exists(fit)) inspected(data() / "photos", GetParam().scan);
  fs::remove(out);
  const Ran ran = run_program("pour " + fit.string() + " --plan " + (data() / "plan.json").string() +
                                  " --back fitted --quiet --out " + out.string(),
                              kResults);
  ASSERT_LE(ran.exit_code, 1) << ran.err;
  testing::TrueShell shell = testing::read_true_shell(data());
  shell.plan.back = plan::Back::fitted;
  const auto darts = testing::Darts(shell, 8.0, 0).volumes(200000, 42);
  const double volume_ml = (darts.between.mm3 + darts.rim.mm3) / 1000,
               error_ml = std::hypot(darts.between.error_mm3, darts.rim.error_mm3) / 1000,
               found_ml = json::parse(slurp(out)).at("void_volume_ml");
  std::printf("%s: void %.1f ml, darts %.1f +- %.1f ml, of it %.1f at the rim\n", GetParam().scan.c_str(),
              found_ml, volume_ml, error_ml, darts.rim.mm3 / 1000);
  EXPECT_LT(error_ml, 0.007 * volume_ml);
  EXPECT_NEAR(found_ml, volume_ml, 0.03 * volume_ml);
}

TEST_P(SharedScan, HalfOfItCallsNoTightSeamClear) {
  std::vector<fs::path> photos;
  for (const auto& entry : fs::directory_iterator(data() / "photos")) photos.push_back(entry.path());
  std::sort(photos.begin(), photos.end());
  double seen = 0, covered = 0;
  for (const unsigned seed : {1u, 2u, 3u}) {
    std::vector<fs::path> kept = photos;
    std::shuffle(kept.begin(), kept.end(), std::mt19937(seed));
    kept.resize(photos.size() / 2);
    const std::string name = GetParam().scan + "_half";
    fs::remove_all(kResults / name);
    fs::create_directories(kResults / name);
    for (const fs::path& p : kept) fs::create_symlink(fs::absolute(p), kResults / name / p.filename());
    each_scored(inspected(kResults / name, name), [&](const json& t, const json& m) {
      seen += 1;
      const double error = m["narrowest_mm"].get<double>() - t["mouth_mm"].get<double>();
      covered += std::abs(error) <= m["u95_mm"].get<double>() ? 1 : 0;
      if (t["mouth_mm"] < truth_["smallest_fill"]) {
        EXPECT_NE(m["verdict"], "clear") << "seed " << seed << " " << t["tiles"] << " " << t["mouth_mm"];
      }
    });
  }
  std::printf("half of %s, three draws: %.0f seams seen, %.3f within u95\n", GetParam().scan.c_str(), seen,
              covered / seen);
  EXPECT_GE(seen, 3 * 80);  // of 99 and 130: the others are unseen
  EXPECT_GE(covered, 0.9 * seen);
}

Eigen::Vector3d centre_of(const json& rotation, const json& translation) {
  Eigen::Matrix3d r;
  Eigen::Vector3d t;
  for (int i = 0; i < 3; ++i) {
    t[i] = translation[std::size_t(i)];
    for (int j = 0; j < 3; ++j) r(i, j) = rotation[std::size_t(i)][std::size_t(j)];
  }
  return -r.transpose() * t;
}

// Cards that curl by up to 1.2 mm, one photo that shows two of them well and two cut by its frame: every photo is where it
// was taken from (by Eigen's umeyama, without scale). Taken for flat, and read only where both of a corner's markers are,
// the cards put that one 1.5 mm off.
TEST(CurledCards, PhotosStandWhereTheyStood) {
  const fs::path data = kScans / "sanderling", out = kResults / "sanderling_scan";
  if (!fs::exists(data / "photos")) GTEST_SKIP() << "no ../shared/scans/sanderling";
  fs::remove_all(out);
  fs::create_directories(kResults);
  const json scan = json::parse(slurp(data / "scan.json")), truth = json::parse(slurp(data / "truth.json"));
  const Ran ran = run_program("scan " + (data / "photos").string() + " --plan " +
                                  (data / "plan.json").string() + " --check-line " +
                                  scan["check_line_measured_mm"].dump() + " --quiet --out " + out.string(),
                              kResults);
  ASSERT_EQ(ran.exit_code, 0) << ran.err;
  std::map<std::string, Eigen::Vector3d> really;
  for (const json& c : truth["cameras"]) really[c["name"]] = centre_of(c["R"], c["t"]);
  const json found = json::parse(slurp(out / "cameras.json"))["photos"];
  Eigen::Matrix3Xd a(3, found.size()), b(3, found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    a.col(k) = centre_of(found[i]["rotation"], found[i]["translation"]);
    b.col(k) = really.at(found[i]["name"]);
  }
  const Eigen::Matrix4d move = Eigen::umeyama(a, b, false);
  const Eigen::Matrix3Xd off = (move * a.colwise().homogeneous()).topRows(3) - b;
  EXPECT_EQ(found.size(), 21u);
  EXPECT_LT(off.colwise().norm().maxCoeff(), 0.5);
  EXPECT_LT(std::sqrt(off.squaredNorm() / static_cast<double>(off.cols())), 0.15);
}

INSTANTIATE_TEST_SUITE_P(Scans, SharedScan,
                         ::testing::Values(Asked{"whimbrel", 0.97, 0.04, 0.10, 0.22},
                                           Asked{"godwit", 0.97, 0.03, 0.07, 0.15}),
                         [](const auto& scan) { return scan.param.scan; });

}  // namespace
}  // namespace interstice
