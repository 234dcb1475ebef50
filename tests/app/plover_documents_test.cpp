// What is written of the demo scan has the published keys and forms.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "app/plover_scan.h"

namespace interstice {
namespace {

using nlohmann::json;
using testing_support::Plover;

// The keys other programs read, as published: the documents, the table (RFC 4180) and the cloud (PLY 1.0).
bool is_numbers(const json& j, std::size_t count) {
  return j.is_array() && j.size() == count &&
         std::all_of(j.begin(), j.end(), [](const json& x) { return x.is_number(); });
}

TEST_F(Plover, FitHasThePublishedKeys) {
  EXPECT_EQ(fit()["format"], "interstice-fit");
  EXPECT_EQ(fit()["version"], 1);
  EXPECT_EQ(fit()["smallest_fill_mm"], 3.0);
  for (const json& t : fit()["tiles"]) {
    EXPECT_TRUE(is_numbers(t.at("moved_mm"), 2) && t.at("turned_deg").is_number()) << t.at("label");
  }
  for (const json& s : fit()["seams"]) {
    const std::string verdict = s.at("verdict");
    const std::vector<std::string> known{"too tight", "pinched", "doubtful", "clear", "unseen"};
    ASSERT_NE(std::find(known.begin(), known.end(), verdict), known.end()) << verdict;
    EXPECT_EQ(!s.at("doubt").is_null(), verdict == "doubtful") << s.at("tiles");
    if (verdict == "doubtful") {
      EXPECT_TRUE(s.at("doubt") == "mouth" || s.at("doubt") == "throat");
    }
    EXPECT_EQ(s.at("tiles").size(), 2u);
    EXPECT_TRUE(is_numbers(s.at("map"), 2));
    EXPECT_TRUE(s.at("length_mm").is_number() && s.at("tight_length_mm").is_number());
    EXPECT_LE(s.at("tight_length_mm"), s.at("length_mm"));
    EXPECT_EQ(s.at("narrowest_mm").is_null(), verdict == "unseen");
    EXPECT_EQ(s.at("u95_mm").is_null(), verdict == "unseen");
    EXPECT_TRUE(s.at("throat_from") == "walls" || s.at("throat_from") == "bevel");
    if (!s.at("throat_mm").is_null() && !s.at("narrowest_mm").is_null()) {
      EXPECT_LE(s.at("throat_mm").get<double>(), s.at("narrowest_mm").get<double>() + 1e-3) << s.at("tiles");
    }
  }
  const json& q = fit().at("quality");
  EXPECT_EQ(q.at("photos_given"), 20);
  EXPECT_EQ(q.at("photos_used"), 20);
  for (const char* key : {"reprojection_rms_px", "pixel_footprint_mm", "scale_u95_percent"}) {
    EXPECT_GT(q.at(key).get<double>(), 0) << key;
  }
}

TEST_F(Plover, CamerasHaveThePublishedKeysAndAreRotations) {
  const json cameras = json::parse(slurp(folder() + "/scan/cameras.json"));
  for (const json& p : cameras.at("photos")) {
    for (const char* key : {"fx", "fy", "cx", "cy", "k1", "k2", "k3", "p1", "p2"}) {
      EXPECT_TRUE(p.at(key).is_number()) << key;
    }
    ASSERT_TRUE(is_numbers(p.at("translation"), 3));
    Eigen::Matrix3d r;
    for (std::size_t i = 0; i < 3; ++i) {
      ASSERT_TRUE(is_numbers(p.at("rotation").at(i), 3));
      for (std::size_t j = 0; j < 3; ++j) r(Eigen::Index(i), Eigen::Index(j)) = p["rotation"][i][j];
    }
    EXPECT_LT((r * r.transpose() - Eigen::Matrix3d::Identity()).norm(), 1e-9) << p.at("name");
    EXPECT_GT(r.determinant(), 0) << p.at("name");
  }
}

TEST_F(Plover, PourHasThePublishedKeys) {
  const json pour = json::parse(slurp(folder() + "/pour.json"));
  EXPECT_EQ(pour.at("format"), "interstice-pour");
  EXPECT_EQ(pour.at("version"), 1);
  EXPECT_EQ(pour.at("ready"), false);  // seams are too tight
  EXPECT_FALSE(pour.at("reasons").empty());
  EXPECT_GT(pour.at("void_volume_ml").get<double>(), 0);
  EXPECT_TRUE(pour.at("trapped_ml_after").is_number());
  for (const json& s : pour.at("stranded")) {
    EXPECT_EQ(s.at("behind").size(), 2u);
    EXPECT_TRUE(s.at("width_mm").is_number() && s.at("length_mm").is_number() &&
                s.at("volume_ml").is_number());
  }
  for (const json& p : pour.at("pours")) {
    EXPECT_TRUE(p.at("volume_ml").is_number() && p.at("tilt_deg").is_number() && p.at("up").is_string());
    EXPECT_TRUE(is_numbers(p.at("inlet"), 2) && p.at("deepest_mm").is_number() && p.at("tape").is_array());
  }
}

TEST_F(Plover, TableHasALineASeam) {
  std::istringstream table(slurp(folder() + "/seams.csv"));
  std::string line;
  std::getline(table, line);
  if (!line.empty() && line.back() == '\r') line.pop_back();
  EXPECT_EQ(
      line,
      "piece,neighbour,narrowest_mm,u95_mm,verdict,length_mm,tight_length_mm,pinched_length_mm,throat_mm,"
      "throat_u95_mm,throat_from,doubt,map_u_mm,"
      "map_v_mm,best_photo");
  std::size_t lines = 0;
  for (; std::getline(table, line); ++lines) {
    ASSERT_LT(lines, fit()["seams"].size());
    const json& s = fit()["seams"][lines];
    EXPECT_EQ(line.substr(0, line.find(',', line.find(',') + 1)),
              s["tiles"][0].get<std::string>() + "," + s["tiles"][1].get<std::string>());
    EXPECT_EQ(std::count(line.begin(), line.end(), ','), 14) << line;
  }
  EXPECT_EQ(lines, fit()["seams"].size());
}

// The bytes after the header are as many as it says, so nothing is cut off.
TEST_F(Plover, CloudIsBinaryPlyWithColourAndNormals) {
  const std::string ply = slurp(folder() + "/cloud.ply");
  const std::string last = "end_header\n";
  const std::size_t end = ply.find(last);
  ASSERT_NE(end, std::string::npos);
  std::istringstream header(ply.substr(0, end));
  std::string line;
  std::getline(header, line);
  EXPECT_EQ(line, "ply");
  std::getline(header, line);
  EXPECT_EQ(line, "format binary_little_endian 1.0");
  std::size_t vertices = 0, bytes = 0;
  std::string names;
  while (std::getline(header, line)) {
    std::istringstream words(line);
    std::string what, type, name;
    words >> what >> type >> name;
    if (what == "element" && type == "vertex") vertices = std::stoul(name);
    if (what != "property") continue;
    bytes += type == "double" ? 8 : type == "float" ? 4 : 1;
    names += name + " ";
  }
  EXPECT_EQ(names, "x y z nx ny nz red green blue ");
  EXPECT_GT(vertices, 100000u);
  EXPECT_EQ(ply.size(), end + last.size() + vertices * bytes);
}

}  // namespace
}  // namespace interstice
