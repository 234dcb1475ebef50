// Scenes that mislead: each gives a right answer or an honest refusal, and a wrong answer never looks right.
#include <nlohmann/json.hpp>

#include "hard/small_photos.h"

namespace interstice::hard {
namespace {

using nlohmann::json;

class Scenes : public Cases {
 protected:
  static std::vector<int> all() {
    std::vector<int> n;
    for (int i = 1; i <= 20; ++i) n.push_back(i);
    return n;
  }
  static json plover_plan() { return json::parse(slurp(kPlover + "/plan.json")); }
  fs::path write_plan(const json& plan) const {
    std::ofstream(folder_ / "plan.json") << plan;
    return folder_ / "plan.json";
  }
  Ran measured(const std::string& what, const fs::path& plan) {
    const Ran ran = run(inspect(folder_ / "photos", plan, folder_ / "out"));
    row("scenes", what, ran);
    return ran;
  }
  void refused(const Ran& ran, const std::string& says) const {
    EXPECT_EQ(ran.exit_code, 3) << ran.out;
    EXPECT_EQ(lines(ran.err), 1) << ran.err;
    EXPECT_NE(ran.err.find(says), std::string::npos) << ran.err;
    EXPECT_FALSE(fs::exists(folder_ / "out"));
  }
};

TEST_F(Scenes, ThreePhotos) {
  write_photos(folder_ / "photos", {1, 2, 3});
  refused(measured("3 photos", kPlover + "/plan.json"), "take at least");
}

TEST_F(Scenes, MirroredPlan) {
  write_photos(folder_ / "photos", all());
  json plan = plover_plan();
  for (json& tile : plan["tiles"]) {
    for (json& p : tile["outline"]) p[1] = -p[1].get<double>();
  }
  refused(measured("a mirrored plan", write_plan(plan)), "plan");
}

// The same form, other pieces: the hardest wrong plan, since the form itself is found where it should be.
TEST_F(Scenes, AnotherPlanOfTheSameForm) {
  write_photos(folder_ / "photos", all());
  std::ofstream(folder_ / "form.json") << json{{"units", "mm"}, {"profile", plover_plan()["profile"]}};
  ASSERT_EQ(
      run({"plan", "make", (folder_ / "form.json").string(), "--thickness", "14", "--gap", "3.7",
           "--piece-size", "40", "--bevel", "10", "--seed", "5", "--out", (folder_ / "other.json").string()})
          .exit_code,
      0);
  refused(measured("another plan of the same form", folder_ / "other.json"), "plan");
}

// Two pieces glued in each other's places, of which the plan knows: the plan is changed instead of the scan.
TEST_F(Scenes, SwappedPieces) {
  write_photos(folder_ / "photos", all());
  json plan = plover_plan();
  json *a = nullptr, *b = nullptr;
  for (json& tile : plan["tiles"]) {
    if (tile["label"] == "B03") a = &tile["outline"];
    if (tile["label"] == "B05") b = &tile["outline"];
  }
  const auto centre = [](const json& outline) {
    cv::Point2d sum(0, 0);
    for (const json& p : outline) sum += cv::Point2d(p[0], p[1]);
    return sum / double(outline.size());
  };
  // Turned about the pole to the other's bearing, then moved along the meridian.
  const auto moved = [](const json& outline, const cv::Point2d& from, const cv::Point2d& to) {
    const double turn = std::atan2(to.y, to.x) - std::atan2(from.y, from.x),
                 out = cv::norm(to) - cv::norm(from);
    json result = json::array();
    for (const json& p : outline) {
      const double x = p[0], y = p[1];
      result.push_back({x * std::cos(turn) - y * std::sin(turn) + out * to.x / cv::norm(to),
                        x * std::sin(turn) + y * std::cos(turn) + out * to.y / cv::norm(to)});
    }
    return result;
  };
  const cv::Point2d ca = centre(*a), cb = centre(*b);
  const json a_there = moved(*a, ca, cb), b_there = moved(*b, cb, ca);
  *a = b_there;
  *b = a_there;
  const Ran ran = measured("B03 glued where B05 belongs and the other way round", write_plan(plan));
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  const json fit = json::parse(slurp((folder_ / "out/fit.json").string()));
  std::string warnings;
  int accused = 0;
  for (const json& w : fit.at("warnings")) {
    warnings += w.get<std::string>() + "\n";
    accused += w.get<std::string>().find("its planned shape") != std::string::npos ? 1 : 0;
  }
  EXPECT_EQ(accused, 2) << warnings;
  EXPECT_NE(warnings.find("B03 does not have its planned shape"), std::string::npos) << warnings;
  EXPECT_NE(warnings.find("B05 does not have its planned shape"), std::string::npos) << warnings;
  EXPECT_NE(ran.out.find("warning: B03"), std::string::npos) << ran.out;
  for (const json& seam : fit.at("seams")) {
    for (const json& label : seam["tiles"]) {
      if (label == "B03" || label == "B05") {
        EXPECT_NE(seam["verdict"], "clear") << seam["tiles"];
      }
    }
  }
}

// Nothing is said about the far side: neither that its seams are clear nor that its pieces are missing.
TEST_F(Scenes, OneSidePhotographed) {
  write_photos(folder_ / "photos", {1, 2, 3, 4, 11, 12, 13, 19});
  const Ran ran = measured("only one side photographed", kPlover + "/plan.json");
  ASSERT_EQ(ran.exit_code, 1) << ran.err;
  const json fit = json::parse(slurp((folder_ / "out/fit.json").string()));
  int unseen = 0;
  for (const json& tile : fit.at("tiles")) {
    EXPECT_NE(tile["state"], "absent") << tile["label"];
    unseen += tile["state"] == "unseen" ? 1 : 0;
  }
  EXPECT_GT(unseen, 5);
  const json truth = json::parse(slurp(kPlover + "/truth.json"));
  std::map<std::pair<std::string, std::string>, double> mouth;
  for (const json& s : truth["seams"]) {
    mouth[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())] = s["mouth_mm"];
  }
  for (const json& s : fit["seams"]) {
    const auto it =
        mouth.find(std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>()));
    if (it != mouth.end() && s["verdict"] == "clear") {
      EXPECT_GE(it->second, 3.0) << s["tiles"];
    }
  }
}

}  // namespace
}  // namespace interstice::hard
