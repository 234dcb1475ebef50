#include "pour/resin.h"

#include <gtest/gtest.h>

#include <string>

#include "core/errors.h"

namespace interstice {
namespace {

std::string failure(const std::string& json) {
  try {
    pour::parse_resin(json, "resin.json");
  } catch (const core::InputError& e) {
    return e.what();
  }
  return "";
}

TEST(Resin, TheExampleIsValid) {
  const pour::Resin r = pour::read_resin(INTERSTICE_SOURCE_DIR "/datasets/resin_example.json");
  EXPECT_EQ(r.density_g_ml, 1.1);
  EXPECT_EQ(r.doubling_min, 25);
  EXPECT_EQ(r.pot_life_min, 40);
  EXPECT_EQ(r.max_depth_mm.value(), 60);
}

TEST(Resin, OneOfDoublingAndPotLifeIsEnough) {
  const pour::Resin r =
      pour::parse_resin(R"({"density_g_ml":1.1,"mixed_viscosity_mpa_s":500,"pot_life_min":20})", "r");
  EXPECT_EQ(r.doubling_min, 20);
  EXPECT_FALSE(r.max_depth_mm.has_value());
}

TEST(Resin, FaultsNameFilePlaceAndLimit) {
  EXPECT_NE(failure(R"({"density_g_ml":1100,"mixed_viscosity_mpa_s":500,"pot_life_min":20})")
                .find("resin.json: density_g_ml"),
            std::string::npos);
  EXPECT_NE(failure(R"({"density_g_ml":1.1,"mixed_viscosity_mpa_s":500})").find("pot_life_min"),
            std::string::npos);
  EXPECT_NE(failure(R"({"density_g_ml":1.1,"pot_life_min":20})").find("mixed_viscosity_mpa_s"),
            std::string::npos);
  EXPECT_NE(failure(R"({"density_g_ml":1.1,"mixed_viscosity_mpa_s":"thick","pot_life_min":20})")
                .find("mixed_viscosity_mpa_s"),
            std::string::npos);
  EXPECT_NE(failure("{").find("resin.json"), std::string::npos);
}

}  // namespace
}  // namespace interstice
