// The main job on the demo scan, against the truth it was rendered from. Twenty seconds on two processors.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "app/run_program.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
const std::string kData = std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover";

std::string arguments(const std::string& out, const std::string& more) {
  return "inspect " + kData + "/photos --plan " + kData + "/plan.json --lens " + kData +
         "/W1.lens.json --check-line 150 --out " + out + " " + more;
}

class Plover : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder() = std::string(INTERSTICE_RESULTS) + "/plover";
    fs::remove_all(folder());
    fs::create_directories(INTERSTICE_RESULTS);
    ran() = run_program(arguments(folder(), ""), INTERSTICE_RESULTS);
    fit() = json::parse(slurp(folder() + "/fit.json"));
    truth() = json::parse(slurp(kData + "/truth.json"));
  }
  static std::string& folder() {
    static std::string f;
    return f;
  }
  static Ran& ran() {
    static Ran r;
    return r;
  }
  static json& fit() {
    static json j;
    return j;
  }
  static json& truth() {
    static json j;
    return j;
  }
};

TEST_F(Plover, NeedsWorkAndSaysSo) {
  EXPECT_EQ(ran().exit_code, 1) << ran().err;
  EXPECT_NE(ran().out.find("57 of 57 pieces placed"), std::string::npos);
  for (const char* file :
       {"seams.csv", "cloud.ply", "pour.json", "scan/cameras.json", "scan/ortho.png", "marked"}) {
    EXPECT_TRUE(fs::exists(folder() + "/" + file)) << file;
  }
}

TEST_F(Plover, SeamsAgreeWithTheTruth) {
  std::map<std::pair<std::string, std::string>, const json*> measured;
  for (const json& s : fit()["seams"])
    measured[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())] = &s;
  int scored = 0, seen = 0, covered = 0;
  double sum = 0, squares = 0;
  for (const json& s : truth()["seams"]) {
    const double mouth = s["mouth_mm"];
    if (mouth > 8 || s["length_mm"] < 5) continue;
    ++scored;
    const auto it =
        measured.find(std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>()));
    if (it == measured.end() || (*it->second)["narrowest_mm"].is_null()) continue;
    const json& m = *it->second;
    const double error = m["narrowest_mm"].get<double>() - mouth;
    ++seen;
    sum += error;
    squares += error * error;
    covered += std::abs(error) <= m["u95_mm"].get<double>() ? 1 : 0;
    EXPECT_NE(m["verdict"], mouth < 3.0 ? "clear" : "too tight") << s["tiles"];
  }
  EXPECT_EQ(scored, 139);
  EXPECT_GE(seen, 137);
  EXPECT_LT(std::abs(sum / seen), 0.04);
  EXPECT_LT(std::sqrt(squares / seen), 0.10);
  EXPECT_GE(covered, 0.90 * seen);
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
  run_program(arguments(again, "--quiet --threads 1"), INTERSTICE_RESULTS);
  EXPECT_TRUE(slurp(again + "/fit.json") == slurp(folder() + "/fit.json"));
  EXPECT_TRUE(slurp(again + "/pour.json") == slurp(folder() + "/pour.json"));
}

}  // namespace
}  // namespace interstice
