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
  EXPECT_EQ(r.mix_by_volume.value()[0], 2);
  EXPECT_EQ(r.mix_by_mass.value()[1], 45);
  EXPECT_EQ(r.set_h.value(), 12);
}

TEST(Resin, AMisspeltKeyIsRefused) {
  const std::string said =
      failure(R"({"density_g_ml":1.1,"mixed_viscosity_mpa_s":500,"pot_life_min":20,"max_dept_mm":60})");
  EXPECT_NE(said.find("\"max_dept_mm\" is not known here"), std::string::npos) << said;
  EXPECT_NE(said.find("max_depth_mm"), std::string::npos) << said;
}

TEST(Resin, PartsArePositive) {
  EXPECT_NE(
      failure(R"({"density_g_ml":1.1,"mixed_viscosity_mpa_s":500,"pot_life_min":20,"mix_by_mass":[100,0]})")
          .find("mix_by_mass"),
      std::string::npos);
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
