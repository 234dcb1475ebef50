// Poured shells in an archive, by the command line: kept look by look, and what they tell about filling.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "archive/sample.h"
#include "refill/fill_limit.h"
#include "refill/refill_document.h"

namespace interstice::archive {
namespace {

const std::string kProgram = INTERSTICE_PROGRAM;

// Forty seams from 1.5 to 5.4 mm: those from 3 mm on filled, but for two that did not, and one narrower that did.
refill::RefillDocument after_a_pour() {
  refill::RefillDocument out;
  for (int k = 0; k < 40; ++k) {
    refill::RefillSeam s;
    s.tiles = {"A" + std::to_string(10 + k), "B" + std::to_string(10 + k)};
    s.width_mm = 1.5 + 0.1 * k;
    const bool filled = (k >= 15 && k != 16 && k != 18) || k == 13;
    s.state = filled ? refill::SeamState::filled : refill::SeamState::hollow;
    out.seams.push_back(s);
  }
  return out;
}

TEST(PouredInArchive, EveryLookIsKeptAndTheFirstTellsWhatFills) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 12);
  const seams::FitDocument fit = sample::built(plan);
  refill::RefillDocument look = after_a_pour();
  sample::write_results(scratch / "first", plan, fit);
  sample::write_file(scratch / "first/refill.json", refill::write_refill(look));
  std::vector<refill::SeamOutcome> outcomes;
  for (refill::RefillSeam& s : look.seams) {
    outcomes.push_back({*s.width_mm, s.state == refill::SeamState::filled});
    s.state = refill::SeamState::filled;  // by a later pour, with drill and syringe
  }
  sample::write_results(scratch / "second", plan, fit);
  sample::write_file(scratch / "second/refill.json", refill::write_refill(look));
  const std::string in =
      "cd '" + scratch.path().string() + "' && INTERSTICE_ARCHIVE=kept '" + kProgram + "' archive ";
  const std::string add = in + "add --name Heron --stage poured --date 2026-03-0";
  EXPECT_EQ(sample::shell(add + "1 first").first, 0);
  EXPECT_EQ(sample::shell(add + "2 second").first, 0) << "the same pieces, another look";
  const auto [again, line] = sample::shell(add + "3 second");
  EXPECT_EQ(again, 2);
  EXPECT_NE(line.find("is kept already"), std::string::npos) << line;
  EXPECT_EQ(sample::shell(in + "verify").second, "2 of 2 entries whole\n");

  std::string why;
  const auto limit = refill::fit_limit(outcomes, why);
  ASSERT_TRUE(limit) << why;
  const auto [code, out] = sample::shell(in + "learn --json");
  ASSERT_EQ(code, 0) << out;
  const nlohmann::json fill = nlohmann::json::parse(out).at("fill");
  EXPECT_EQ(fill.at("seams"), 40);
  EXPECT_EQ(fill.at("pieces"), 1);
  EXPECT_NEAR(fill.at("width_mm").get<double>(), limit->width_mm, 1e-4);
  const double proposed = fill.at("proposed_smallest_fill_mm").get<double>();
  EXPECT_GE(proposed, limit->high_mm - 1e-4);
  EXPECT_LT(proposed, limit->high_mm + 0.1);
  EXPECT_NEAR(std::remainder(proposed, 0.1), 0, 1e-9);
  EXPECT_EQ(fill.at("as_wide").get<int>(), static_cast<int>(std::floor((5.4 - proposed) / 0.1 + 1e-6)) + 1);
  const std::string words = sample::shell(in + "learn").second;
  EXPECT_NE(words.find("Your own smallest fill, from 40 seams of 1 poured piece: half filled at "),
            std::string::npos)
      << words;
  EXPECT_NE(words.find("Proposed for the next plan: --smallest-fill "), std::string::npos) << words;
}

TEST(PouredInArchive, TooFewOfAKindAreSaidToTellNothing) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 12);
  refill::RefillDocument look = after_a_pour();
  for (refill::RefillSeam& s : look.seams) s.state = refill::SeamState::filled;
  sample::write_results(scratch / "full", plan, sample::built(plan));
  sample::write_file(scratch / "full/refill.json", refill::write_refill(look));
  const std::string in =
      "cd '" + scratch.path().string() + "' && INTERSTICE_ARCHIVE=kept '" + kProgram + "' archive ";
  EXPECT_EQ(sample::shell(in + "add full --stage poured").first, 0);
  sample::write_results(scratch / "dry", plan, sample::built(plan, {.seed = 3}));
  EXPECT_EQ(sample::shell(in + "add dry").first, 0);
  const auto [code, words] = sample::shell(in + "learn");
  EXPECT_EQ(code, 0);
  EXPECT_NE(words.find("too few seams stayed hollow"), std::string::npos) << words;
  EXPECT_NE(words.find("for a smallest fill of 3.00 mm"), std::string::npos) << words;
}

TEST(PouredInArchive, ADamagedRefillIsRefused) {
  const sample::Scratch scratch;
  const plan::Plan plan = sample::plan(1, 12);
  sample::write_results(scratch / "cut", plan, sample::built(plan));
  sample::write_file(scratch / "cut/refill.json", "{\"format\": \"interstice-re");
  const auto [code, line] = sample::shell("cd '" + scratch.path().string() + "' && '" + kProgram +
                                          "' archive add cut --archive kept --stage poured");
  EXPECT_EQ(code, 2);
  EXPECT_NE(line.find("cut/refill.json: "), std::string::npos) << line;
}

}  // namespace
}  // namespace interstice::archive
