#include "renderer/options.h"

#include <gtest/gtest.h>

#include "core/errors.h"
#include "renderer/settings.h"

namespace interstice::renderer {
namespace {

TEST(Options, EveryPresetIsValid) {
  for (const char* name : {"bowl", "cup", "platter", "ring", "patch", "lens"}) {
    EXPECT_NO_THROW(check_options(preset(name))) << name;
    EXPECT_EQ(preset(name).name, name);
  }
  EXPECT_THROW(preset("spoon"), core::InputError);
}

TEST(Options, SetByName) {
  SceneOptions o;
  set_option(o, "layout.planned_gap_mm=2.25");
  set_option(o, "camera.photos=8");
  set_option(o, "look.pencil_lines=0");
  set_option(o, "look.woods=walnut,blackwood");
  set_option(o, "cards.cards=3,5");
  set_option(o, "seed=77");
  EXPECT_EQ(o.layout.planned_gap_mm, 2.25);
  EXPECT_EQ(o.camera.photos, 8);
  EXPECT_FALSE(o.look.pencil_lines);
  EXPECT_EQ(o.look.woods, (std::vector<std::string>{"walnut", "blackwood"}));
  EXPECT_EQ(o.cards.cards, (std::vector<int>{3, 5}));
  EXPECT_EQ(o.seed, 77u);
}

TEST(Options, EveryListedNumberCanBeSet) {
  int numbers = 0;
  for (const std::string& name : option_names()) {
    SceneOptions o;
    if (name == "look.woods") continue;
    EXPECT_NO_THROW(set_option(o, name + "=1")) << name;
    ++numbers;
  }
  EXPECT_GT(numbers, 40);
}

TEST(Options, FaultsAreNamed) {
  SceneOptions o;
  const auto fault = [&](const std::string& setting) -> std::string {
    try {
      set_option(o, setting);
      check_options(o);
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  };
  EXPECT_NE(fault("camera.photon=3").find("camera.photon"), std::string::npos);
  EXPECT_NE(fault("camera.photos=many").find("\"many\" is not a number"), std::string::npos);
  EXPECT_NE(fault("camera.photos").find("no ="), std::string::npos);
  EXPECT_NE(fault("camera.processing=1.5").find("camera.processing is 1.5"), std::string::npos);
  o = SceneOptions();
  EXPECT_EQ(fault("build.corner_least_mm=3"), "");  // not in use
  EXPECT_NE(fault("build.corner_most_mm=1").find("build.corner_least_mm is 3"), std::string::npos);
  o = SceneOptions();
  EXPECT_NE(fault("layout.planned_gap_mm=40").find("between 0.1 and 12"), std::string::npos);
}

}  // namespace
}  // namespace interstice::renderer
