// The main job on the demo scan, against the truth it was rendered from. Twenty seconds on two processors.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "app/plover_scan.h"
#include "channels/true_fit.h"
#include "channels/void_darts.h"
#include "core/median.h"
#include "pour/plan_pours.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing_support::arguments;
using testing_support::kData;
using testing_support::Plover;

TEST_F(Plover, NeedsWorkAndSaysSo) {
  EXPECT_EQ(ran().exit_code, 1) << ran().err;
  EXPECT_NE(ran().out.find("57 of 57 pieces placed"), std::string::npos);
  for (const char* file :
       {"seams.csv", "cloud.ply", "pour.json", "scan/cameras.json", "scan/ortho.png", "marked"}) {
    EXPECT_TRUE(fs::exists(folder() + "/" + file)) << file;
  }
}

struct Score {
  int scored = 0, seen = 0, covered = 0, doubtful = 0;
  double bias = 0, rms = 0;  // mm
  std::vector<double> u95_mm;
};

// The measured widths against the true ones; no verdict may be the opposite of the truth.
Score score(const json& fit, const json& truth) {
  std::map<std::pair<std::string, std::string>, const json*> measured;
  for (const json& s : fit["seams"])
    measured[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())] = &s;
  Score out;
  for (const json& s : truth["seams"]) {
    const double mouth = s["mouth_mm"];
    if (mouth > 8 || s["length_mm"] < 5) continue;
    ++out.scored;
    const auto it =
        measured.find(std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>()));
    if (it == measured.end() || (*it->second)["narrowest_mm"].is_null()) continue;
    const json& m = *it->second;
    const double error = m["narrowest_mm"].get<double>() - mouth;
    ++out.seen;
    out.bias += error;
    out.rms += error * error;
    out.covered += std::abs(error) <= m["u95_mm"].get<double>() ? 1 : 0;
    out.u95_mm.push_back(m["u95_mm"]);
    out.doubtful += m["verdict"] == "doubtful" ? 1 : 0;
    if (mouth < 3.0) {
      EXPECT_NE(m["verdict"], "clear") << s["tiles"];
    } else if (m["verdict"] == "too tight") {  // shut behind its mouth, and named by the likelier fault
      EXPECT_LT(s["clearance_mm"], 3.0) << s["tiles"];
      EXPECT_LT(mouth - 3.0, m["u95_mm"]) << s["tiles"];
    }
  }
  out.bias /= std::max(out.seen, 1);
  out.rms = std::sqrt(out.rms / std::max(out.seen, 1));
  return out;
}

TEST_F(Plover, SeamsAgreeWithTheTruth) {
  const Score s = score(fit(), truth());
  EXPECT_EQ(s.scored, 139);
  EXPECT_GE(s.seen, 137);
  EXPECT_LT(std::abs(s.bias), 0.04);
  EXPECT_LT(s.rms, 0.10);
  EXPECT_GE(s.covered, 0.90 * s.seen);
  // As sure as is claimed: an uncertainty can be made true by making it large.
  std::vector<double> u95 = s.u95_mm;
  std::nth_element(u95.begin(), u95.begin() + std::ptrdiff_t(u95.size() / 2), u95.end());
  EXPECT_LT(u95[u95.size() / 2], 0.13);
  EXPECT_LE(s.doubtful, 0.18 * s.scored);
}

// Wide at the mouth, narrower than 3 mm further in: never clear, and found where the photos can tell.
TEST_F(Plover, PinchedSeamsAreFoundAndNeverClear) {
  std::map<std::pair<std::string, std::string>, std::string> said;
  for (const json& s : fit()["seams"])
    said[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())] = s["verdict"];
  int pinched = 0, found = 0, open = 0, wrongly = 0;
  for (const json& s : truth()["seams"]) {
    const double mouth = s["mouth_mm"];
    if (mouth > 8 || mouth < 3 || s["length_mm"] < 5) continue;
    const std::string verdict =
        said[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())];
    if (s["clearance_mm"] < 3.0) {
      ++pinched;
      found += verdict == "pinched" || verdict == "too tight" ? 1 : 0;
      EXPECT_NE(verdict, "clear") << s["tiles"];
    } else {
      ++open;
      wrongly += verdict == "pinched" ? 1 : 0;
    }
  }
  EXPECT_GE(found, 0.85 * pinched) << pinched;
  EXPECT_LE(wrongly, 0.05 * open);
}

// A lens nobody calibrated is found with the photos' places, from the cards alone.
TEST_F(Plover, WithoutTheLensFileNearlyAsGood) {
  const std::string scan = std::string(INTERSTICE_RESULTS) + "/plover_no_lens", out = scan + ".json";
  fs::remove_all(scan);
  fs::remove(out);
  const std::string plan = " --quiet --plan " + kData + "/plan.json";
  ASSERT_EQ(
      run_program("scan " + kData + "/photos" + plan + " --check-line 150 --out " + scan, INTERSTICE_RESULTS)
          .exit_code,
      0);
  ASSERT_EQ(run_program("fit " + scan + plan + " --out " + out, INTERSTICE_RESULTS).exit_code, 1);
  const Score with = score(fit(), truth()), without = score(json::parse(slurp(out)), truth());
  EXPECT_GE(without.seen, 137);
  EXPECT_LE(without.rms, 1.3 * with.rms);
  EXPECT_LT(std::abs(without.bias), 0.04);
  EXPECT_GE(without.covered, 0.90 * without.seen);
}

// Walls measured in the photos lie within two standard uncertainties (95 % in the long run; the walls of one
// piece err together, so somewhat fewer would be no surprise), at most one in fifty beyond four, and half as
// far off as the plan's bevel (in the median: all sides of one piece are 2.5 degrees off here, with a standard uncertainty
// of 0.7).
TEST_F(Plover, WallsAgreeWithTheTruth) {
  std::map<std::string, double> built;
  for (const json& t : truth()["tiles"]) built[t["label"]] = t["built_bevel_deg"];
  int measured = 0, within = 0, astray = 0;
  std::vector<double> sizes, planned_sizes;
  for (const json& t : fit()["tiles"]) {
    for (const json& w : t.at("walls")) {
      if (!w.at("measured").get<bool>()) continue;
      const double off = w.at("bevel_deg").get<double>() - built.at(t.at("label"));
      const double sd = w.at("sd_deg");
      ++measured;
      within += std::abs(off) <= 2 * sd ? 1 : 0;
      astray += std::abs(off) > 4 * sd ? 1 : 0;
      sizes.push_back(std::abs(off));
      planned_sizes.push_back(std::abs(10 - built.at(t.at("label"))));
    }
  }
  EXPECT_GT(measured, 100);
  EXPECT_GE(within, 0.85 * measured);
  EXPECT_LE(astray, 0.02 * measured);
  EXPECT_LT(core::median(sizes), core::median(planned_sizes) / 2);
}

// Throats said to come from walls are nearer the truth than 0.2 mm (root mean square).
TEST_F(Plover, ThroatsFromWallsAgreeWithTheTruth) {
  std::map<std::pair<std::string, std::string>, double> clearance;
  for (const json& s : truth()["seams"]) {
    if (s["mouth_mm"] <= 8.0) clearance[{s["tiles"][0], s["tiles"][1]}] = s["clearance_mm"];
  }
  int n = 0;
  double squares = 0;
  for (const json& s : fit()["seams"]) {
    const auto known = clearance.find({s["tiles"][0], s["tiles"][1]});
    if (s["throat_from"] != "walls" || known == clearance.end()) continue;
    ++n;
    squares += std::pow(s["throat_mm"].get<double>() - known->second, 2);
  }
  EXPECT_GE(n, 30);
  EXPECT_LT(std::sqrt(squares / n), 0.2);
}

TEST_F(Plover, PiecesAreAllPlacedAndNamedAsPlanned) {
  const json plan = json::parse(slurp(kData + "/plan.json"));
  ASSERT_EQ(fit()["tiles"].size(), 57u);
  ASSERT_EQ(plan["tiles"].size(), 57u);
  for (std::size_t i = 0; i < 57; ++i) {
    EXPECT_EQ(fit()["tiles"][i]["label"], plan["tiles"][i]["label"]);
    EXPECT_EQ(fit()["tiles"][i]["state"], "placed") << plan["tiles"][i]["label"];
  }
}

// Faces stand above the measured outlines because arrises are broken; the truth tells the same by another
// way.
TEST_F(Plover, ResinVolumeIsThatOfTheTruePieces) {
  const testing::TrueShell shell = testing::read_true_shell(kData);
  const double broken = testing::broken_arris_mm(shell);
  double above = 0;
  for (const json& t : fit()["tiles"]) above += t.at("face_above_arris_mm").get<double>() / 57;
  EXPECT_NEAR(above, broken, 0.05);
  const auto darts = testing::Darts(shell, 8.0, broken).volumes(300000, 42);
  const double volume = (darts.between.mm3 + darts.rim.mm3) / 1000,
               error = std::hypot(darts.between.error_mm3, darts.rim.error_mm3) / 1000;
  EXPECT_LT(error, 0.005 * volume);
  const json pour = json::parse(slurp(folder() + "/pour.json"));
  EXPECT_NEAR(pour.at("void_volume_ml").get<double>(), volume, 0.03 * volume);
  std::printf(
      "faces %.2f mm above the outlines (truth %.2f); void %.1f ml, darts %.1f +- %.1f ml, of it %.1f at the "
      "rim\n",
      above, broken, pour.at("void_volume_ml").get<double>(), volume, error, darts.rim.mm3 / 1000);
}

// What every true too-tight seam strands, by the network on the true widths. The range a document states holds for all
// but two of 23 (it is an expanded one), within 15 % or, where that is less, the network's step at the two ends of the
// tight stretch (half a millimetre each and rounding). The length itself hinges on seams near the limit, which close a
// region or leave it open: three in four are within the same 15 % or step.
TEST_F(Plover, StrandedLengthsAreThoseOfTheTrueWidths) {
  const testing::TrueShell shell = testing::read_true_shell(kData);
  const seams::FitDocument exact = testing::true_fit(shell);
  const json pour = json::parse(slurp(folder() + "/pour.json"));
  std::map<std::array<std::string, 2>, json> found;
  for (const json& p : pour.at("stranded")) found[p.at("behind")] = p;
  int all = 0, close = 0, beyond = 0;
  for (const pour::StrandedPlace& p : pour::plan_pours(exact, shell.plan, std::nullopt, {}).stranded) {
    ++all;
    ASSERT_TRUE(found.contains(p.behind)) << p.behind[0] << "/" << p.behind[1];
    const double length = found[p.behind].at("length_mm"), low = found[p.behind].at("length_low_mm"),
                 high = found[p.behind].at("length_high_mm"), asked = std::max(0.15 * p.length_mm, 1.1);
    const bool near = std::abs(length - p.length_mm) <= asked;
    close += near ? 1 : 0;
    beyond += p.length_mm < low - asked || p.length_mm > high + asked ? 1 : 0;
    if (!near)
      std::printf("%s/%s: %.1f mm (%.1f to %.1f), by true widths %.1f\n", p.behind[0].c_str(),
                  p.behind[1].c_str(), length, low, high, p.length_mm);
  }
  std::printf("stranded: %d places, %d within 15 %% or the step\n", all, close);
  EXPECT_EQ(all, 23);
  EXPECT_LE(beyond, 2);
  EXPECT_GE(4 * close, 3 * all);
}

// Camera centres against the truth by Eigen's umeyama, with and without scale.
TEST_F(Plover, CamerasStandWhereTheyStood) {
  const json cameras = json::parse(slurp(folder() + "/scan/cameras.json"));
  std::map<std::string, const json*> by_name;
  for (const json& c : truth()["cameras"]) by_name[c["name"]] = &c;
  const auto centre = [](const json& rotation, const json& translation) {
    Eigen::Matrix3d r;
    Eigen::Vector3d t;
    for (int i = 0; i < 3; ++i) {
      for (int j = 0; j < 3; ++j) r(i, j) = rotation[std::size_t(i)][std::size_t(j)];
      t[i] = translation[std::size_t(i)];
    }
    return Eigen::Vector3d(-r.transpose() * t);
  };
  const auto n = Eigen::Index(cameras["photos"].size());
  ASSERT_EQ(n, 20);
  Eigen::Matrix3Xd got(3, n), want(3, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const json& c = cameras["photos"][std::size_t(i)];
    const json& t = *by_name.at(c["name"]);
    got.col(i) = centre(c["rotation"], c["translation"]);
    want.col(i) = centre(t["R"], t["t"]);
  }
  const Eigen::Matrix4d rigid = Eigen::umeyama(got, want, false), similar = Eigen::umeyama(got, want, true);
  const Eigen::Matrix3Xd moved =
      (rigid.topLeftCorner<3, 3>() * got).colwise() + Eigen::Vector3d(rigid.topRightCorner<3, 1>());
  EXPECT_LT((moved - want).norm() / std::sqrt(double(n)), 0.3);
  EXPECT_NEAR(Eigen::Vector3d(similar.block<3, 1>(0, 0)).norm(), 1.0, 0.001);
}

TEST_F(Plover, OneThreadGivesTheSameBytes) {
  const std::string again = std::string(INTERSTICE_RESULTS) + "/plover_one_thread";
  std::filesystem::remove_all(again);
  run_program(arguments(again, "--quiet --threads 1"), INTERSTICE_RESULTS);
  EXPECT_TRUE(slurp(again + "/fit.json") == slurp(folder() + "/fit.json"));
  EXPECT_TRUE(slurp(again + "/pour.json") == slurp(folder() + "/pour.json"));
}

}  // namespace
}  // namespace interstice
