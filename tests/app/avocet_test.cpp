// Tracing the pieces drawn on a photographed form, with the real program, against the plan they were drawn
// from. Needs the scan avocet, kept beside a checkout (../shared/scans); skipped without it. Two minutes.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "app/run_program.h"
#include "layout/independent_faces.h"
#include "layout/trace.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using Eigen::Vector2d;
using independent::Space;
constexpr double kPi = std::numbers::pi;
const std::string kScan = std::string(INTERSTICE_SOURCE_DIR) + "/../shared/scans/avocet";

Vector2d turned(const Vector2d& p, double t) {
  return {std::cos(t) * p.x() - std::sin(t) * p.y(), std::sin(t) * p.x() + std::cos(t) * p.y()};
}

Vector2d middle_of(const plan::PlannedTile& tile) {
  Vector2d sum(0, 0);
  for (const Vector2d& p : tile.outline) sum += p / static_cast<double>(tile.outline.size());
  return sum;
}

double from_line(const std::vector<Space>& closed, Space p) {
  double best = 1e9;
  for (std::size_t i = 0; i < closed.size(); ++i) {
    const Space a = closed[i], d = closed[(i + 1) % closed.size()] - a;
    const double t = std::clamp(dot(p - a, d) / std::max(1e-12, dot(d, d)), 0.0, 1.0);
    best = std::min(best, size_of(a + t * d - p));
  }
  return best;
}

class Avocet : public testing::Test {
 protected:
  void SetUp() override {
    if (!fs::exists(kScan)) GTEST_SKIP() << "the scan avocet is kept beside a checkout";
    folder_ = fs::path(testing::TempDir()) / ("interstice_avocet_" + std::to_string(::getpid()));
    fs::create_directories(folder_);
  }
  void TearDown() override {
    if (!folder_.empty()) fs::remove_all(folder_);
  }
  std::string path(const std::string& name) const { return (folder_ / name).string(); }

  // Which drawn piece each traced one is, when the traced plan is turned by t: nearest middles, on the map.
  std::vector<int> matched(double t) const {
    std::vector<int> match;
    for (const plan::PlannedTile& tile : traced_.tiles) {
      const Vector2d c = turned(middle_of(tile), t);
      int nearest = -1;
      double best = 8;  // mm; pieces are five times as large
      for (std::size_t j = 0; j < drawn_.tiles.size(); ++j) {
        const double d = (middle_of(drawn_.tiles[geometry::TileIndex(j)]) - c).norm();
        if (d < best) best = d, nearest = static_cast<int>(j);
      }
      match.push_back(nearest);
    }
    return match;
  }

  // Cards lie anyhow on the bench: the turn is free. Most pieces matched, then the mean of what is left.
  double fitted_turn() const {
    double best_turn = 0;
    std::ptrdiff_t most = -1;
    for (double t = 0; t < 2 * kPi; t += 0.01) {
      const std::vector<int> m = matched(t);
      const std::ptrdiff_t count = std::count_if(m.begin(), m.end(), [](int j) { return j >= 0; });
      if (count > most) most = count, best_turn = t;
    }
    for (int round = 0; round < 3; ++round) {
      const std::vector<int> m = matched(best_turn);
      double cross = 0, along = 0;
      for (std::size_t i = 0; i < m.size(); ++i) {
        if (m[i] < 0) continue;
        const Vector2d a = turned(middle_of(traced_.tiles[geometry::TileIndex(i)]), best_turn);
        const Vector2d b = middle_of(drawn_.tiles[geometry::TileIndex(static_cast<std::size_t>(m[i]))]);
        cross += a.x() * b.y() - a.y() * b.x(), along += a.dot(b);
      }
      best_turn += std::atan2(cross, along);
    }
    return best_turn;
  }

  fs::path folder_;
  plan::Plan drawn_, traced_;
};

// The form's own shape against the profile that it was turned to, on every millimetre of it but the lowest
// three: the measured line, and whether its uncertainty holds.
TEST_F(Avocet, FormMeasuredWithoutADrawing) {
  const Ran ran = run_program("plan form " + kScan + "/photos --check-line 150.3 --out " + path("form.json"),
                              folder_.string());
  ASSERT_EQ(ran.exit_code, 0) << ran.err;
  const auto form = nlohmann::json::parse(slurp(path("form.json")));
  const geometry::Profile drawn = plan::read_plan(kScan + "/plan.json").profile;
  double squares = 0, worst = 0, n = 0, within = 0;
  ASSERT_EQ(form["profile"].size(), form["u95_mm"].size());
  for (std::size_t i = 0; i < form["profile"].size(); ++i) {
    const double r = form["profile"][i][0], z = form["profile"][i][1], u95 = form["u95_mm"][i];
    if (z < 3) continue;
    const double off = std::abs(drawn.locate({r, 0, z}).height);
    squares += off * off, worst = std::max(worst, off), n += 1, within += off <= u95;
    EXPECT_LT(u95, 0.5);
  }
  ASSERT_GT(n, 50);
  EXPECT_LT(std::sqrt(squares / n), 0.15);  // half the photos' resolution on the form, 0.3 mm
  EXPECT_LT(worst, 0.4);
  EXPECT_GE(within / n, 0.9);
  EXPECT_LT(form["profile"].back()[1].get<double>(), 1e-9);
  EXPECT_TRUE(form["bumps"].empty());
  for (const auto& ring : form["rings"]) EXPECT_LT(ring["out_of_round_mm"].get<double>(), 0.3);
}

TEST_F(Avocet, AnotherFormThanInThePhotosIsRefused) {
  std::ofstream small(path("small.csv"));
  const plan::Plan plan = plan::read_plan(kScan + "/plan.json");
  for (const Vector2d& p : plan.profile.points()) small << 0.8 * p.x() << "," << p.y() << "\n";
  small.close();
  const Ran ran = run_program("plan trace " + kScan + "/photos --check-line 150.3 --form " +
                                  path("small.csv") + " --out " + path("no.json"),
                              folder_.string());
  EXPECT_EQ(ran.exit_code, 2);
  // The rim is 136 mm from the axis: a fifth of the diameter is 54.4 mm.
  EXPECT_NE(ran.err.find("small.csv: is not the form in the photos"), std::string::npos) << ran.err;
  EXPECT_TRUE(ran.err.find("its rim is 54.") != std::string::npos) << ran.err;
  EXPECT_FALSE(fs::exists(path("no.json")));
}

TEST_F(Avocet, TracedMatchedRenamedCheckedAndPrinted) {
  const Ran ran = run_program(
      "plan trace " + kScan + "/photos --check-line 150.3 --out " + path("traced.json"), folder_.string());
  ASSERT_TRUE(ran.exit_code == 0 || ran.exit_code == 1) << ran.err;
  drawn_ = plan::read_plan(kScan + "/plan.json");
  traced_ = plan::read_plan(path("traced.json"));
  const double turn = fitted_turn();
  const std::vector<int> match = matched(turn);
  ASSERT_EQ(drawn_.tiles.size(), 63u);
  EXPECT_EQ(std::count_if(match.begin(), match.end(), [](int j) { return j >= 0; }), 63);

  const independent::Meridian form(drawn_.profile.points());
  double squares = 0, count = 0;
  std::map<int, int> taken;
  std::string labels;
  for (std::size_t i = 0; i < match.size(); ++i) {
    if (match[i] < 0) continue;
    EXPECT_EQ(++taken[match[i]], 1) << "two traced pieces for one drawn";
    const plan::PlannedTile& wanted = drawn_.tiles[geometry::TileIndex(static_cast<std::size_t>(match[i]))];
    std::vector<Space> line;
    for (const Vector2d& p : wanted.outline) line.push_back(independent::on_form(form, {p.x(), p.y()}));
    for (const Vector2d& p : traced_.tiles[geometry::TileIndex(i)].outline) {
      const Vector2d q = turned(p, turn);
      squares += std::pow(from_line(line, independent::on_form(form, {q.x(), q.y()})), 2), ++count;
    }
    EXPECT_EQ(traced_.tiles[geometry::TileIndex(i)].ring, wanted.ring) << wanted.label;
    labels += traced_.tiles[geometry::TileIndex(i)].label + "," + wanted.label + "\n";
  }
  const double rms = std::sqrt(squares / count);
  RecordProperty("outline_rms_um", static_cast<int>(1000 * rms));
  EXPECT_LT(rms, 0.15);  // half the photos' resolution on the form, 0.3 mm

  layout::rename_tiles(traced_, labels, "labels.csv");
  std::ofstream(path("renamed.json")) << plan::write_plan(traced_);
  const Ran check = run_program("plan check " + path("renamed.json") + " --json", folder_.string());
  EXPECT_TRUE(check.exit_code == 0 || check.exit_code == 1) << check.err;
  const auto found = nlohmann::json::parse(check.out);
  EXPECT_EQ(found["pieces"], traced_.tiles.size());
  EXPECT_GT(found["narrowest_mouth_mm"], 0);
  for (const auto& f : found["findings"]) EXPECT_NE(f["kind"], "overlap") << f["text"];
  const Ran patterns =
      run_program("plan patterns " + path("renamed.json") + " --out " + path("p.pdf"), folder_.string());
  EXPECT_EQ(patterns.exit_code, 0) << patterns.err;
  EXPECT_EQ(slurp(path("p.pdf")).substr(0, 5), "%PDF-");
}

}  // namespace
}  // namespace interstice
