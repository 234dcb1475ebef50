// The published schemas against real documents and altered ones.
#include <gtest/gtest.h>

#include <filesystem>

#include "schemas/schema.h"

#include "refill/refill_document.h"

namespace {

using namespace interstice::testing_schemas;

TEST(Schemas, Plan) {
  const json plan = read(kSource + "/datasets/plover/plan.json");
  check("plan", plan);
  const Schema schema("plan");
  json altered = plan;
  altered["tiles"][5]["outline"][3] = {1.0};
  EXPECT_NE(schema.fault(altered), "");
  altered = plan;
  altered["tiles"][7].erase("label");
  EXPECT_NE(schema.fault(altered), "");
  altered = plan;
  altered["tile_thickness"] = 1000;
  EXPECT_NE(schema.fault(altered), "");
}

TEST(Schemas, LensAndResin) {
  check("lens", read(kSource + "/datasets/plover/W1.lens.json"));
  const json resin = read(kSource + "/datasets/resin_example.json");
  check("resin", resin);
  json neither = resin;
  neither.erase("pot_life_min");
  EXPECT_EQ(Schema("resin").fault(neither), "");
  neither.erase("viscosity_doubling_min");
  EXPECT_NE(Schema("resin").fault(neither), "");
}

// What a pour left, as the program writes it.
TEST(Schemas, Refill) {
  namespace refill = interstice::refill;
  refill::RefillDocument d;
  d.name = "bowl";
  d.seams = {{{"A01", "A02"},
              refill::SeamState::hollow,
              2.1,
              1.8,
              31,
              14,
              0.9,
              false,
              {{0, 12, refill::SeamState::hollow}}},
             {{"A02", "A03"}, refill::SeamState::unseen, std::nullopt, std::nullopt, 20, 0, 0.2, false, {}}};
  refill::Hollow hollow;
  hollow.tiles = {"A01", "A02"};
  hollow.length_mm = 9, hollow.opening_mm2 = 14, hollow.width_mm = 1.6, hollow.depth_at_least_mm = 2;
  hollow.volume_low_ml = 0.02, hollow.volume_high_ml = 0.09;
  hollow.best_photo = "photo_07";
  hollow.rim = {{1, 2, 3}, {2, 2, 3}, {2, 3, 3}};
  d.hollows = {hollow};
  d.advice = {{refill::Way::syringe, "push it in through a blunt needle"}};
  d.pours = {{80, 30, "A07", {0}, 0.02, 0.09, 20, {{"A01", "A02"}}}};
  d.fill_limit_words = "too few seams filled";
  check("refill", json::parse(refill::write_refill(d)));
  d.fill_limit = refill::FillLimit{2.9, 0.3, 128};
  const json whole = json::parse(refill::write_refill(d));
  const Schema schema("refill");
  EXPECT_EQ(schema.fault(whole), "");
  json altered = whole;
  altered["seams"][0]["state"] = "open";
  EXPECT_NE(schema.fault(altered), "");
  altered = whole;
  altered["hollows"][0]["volume_ml"] = {0.02};
  EXPECT_NE(schema.fault(altered), "");
  altered = whole;
  altered["fill_limit"].erase("u95_mm");
  EXPECT_NE(schema.fault(altered), "");
}

// A drawn form, as `plan form` keeps it, and one measured from photos.
TEST(Schemas, Form) {
  json form{{"name", "bowl"}, {"units", "mm"}, {"profile", {{0, 60}, {40, 40}, {60, 0}}}};
  check("form", form);
  const Schema schema("form");
  form["u95_mm"] = {0.1, 0.1, 0.2};
  EXPECT_NE(schema.fault(form), "");  // only what was measured has an uncertainty
  form["unseen"] = {{"pole_mm", 0}, {"rim_mm", 6.0}, {"area_percent", 7.5}};
  form["rings"] = {{{"z_mm", 10.0},
                    {"r_mm", 55.0},
                    {"out_of_round_mm", 0.1},
                    {"oval_mm", 0.2},
                    {"oval_deg", 30.0},
                    {"centre_mm", {0.0, 0.1}}}};
  form["bumps"] = json::array();
  form["quality"] = {{"photos_given", 17},
                     {"photos_used", 17},
                     {"left_out", json::array()},
                     {"check_line_given", true},
                     {"scale_u95_percent", 0.07}};
  EXPECT_EQ(schema.fault(form), "");
  json altered = form;
  altered["rings"][0]["oval_mm"] = -1;
  EXPECT_NE(schema.fault(altered), "");
  altered = form;
  altered["profile"][1] = {1.0};
  EXPECT_NE(schema.fault(altered), "");
}

TEST(Schemas, SmallFitAndCorrections) {
  const json fit = read(kSource + "/tests/fuzz/seeds/fit/two.json");
  check("fit", fit);
  const Schema schema("fit"), corrections("corrections");
  json altered = fit;
  altered["seams"][0]["narrowest_mm"] = nullptr;  // only what was not seen has no width
  EXPECT_NE(schema.fault(altered), "");
  altered = fit;
  altered["seams"][0]["verdict"] = "fine";
  EXPECT_NE(schema.fault(altered), "");
  altered = fit;
  altered["tiles"][1]["state"] = "lost";
  EXPECT_NE(schema.fault(altered), "");
  EXPECT_EQ(corrections.fault(fit), "");
  EXPECT_EQ(corrections.fault(fit["corrections"]), "");
  altered = fit["corrections"];
  altered[0].erase("turn_deg");
  EXPECT_NE(corrections.fault(altered), "");
}

// What the program wrote for the demo scan.
TEST(Schemas, ResultsOfTheDemoScan) {
  const std::string folder = std::string(INTERSTICE_RESULTS) + "/plover";
  if (!std::filesystem::exists(folder + "/fit.json")) GTEST_SKIP() << "run plover_tests first";
  check("fit", read(folder + "/fit.json"));
  check("pour", read(folder + "/pour.json"));
  check("plan", read(folder + "/plan.json"));
  check("result", read(folder + "/result.json"));
  check("cameras", read(folder + "/scan/cameras.json"));
  json cameras = read(folder + "/scan/cameras.json");
  cameras["photos"][0]["rotation"].erase(1);
  EXPECT_NE(Schema("cameras").fault(cameras), "");
}

}  // namespace
