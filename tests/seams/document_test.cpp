// fit.json: what is written is read, what is damaged is refused with its place.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "core/errors.h"
#include "seams/fit_document.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using nlohmann::json;

seams::FitTile placed_tile() {
  seams::FitTile t;
  t.label = "A01";
  t.ring = 1;
  t.state = plan::TileState::placed;
  t.moved_mm = {0.41, -0.73};
  t.turned_deg = -1.25;
  t.height_mm = 13.9;
  t.face = geometry::make_plane_frame({40, 50, 60}, Vector3d(1, 2, 3).normalized(), Vector3d::UnitX());
  for (int i = 0; i < 5; ++i) {
    const double a = 2 * M_PI * i / 5;
    t.arris.push_back(t.face.lift({20 * std::cos(a), 20 * std::sin(a)}));
    t.root.push_back(t.face.lift({18 * std::cos(a), 18 * std::sin(a)}) - 14 * t.face.normal);
    t.arris_sd_mm.push_back(i == 2 ? -1.5 : 0.03 + 0.01 * i);
  }
  t.walls = {{"A02", 9.25, 0.375, true}, {"", -1.5, 1.5, false}};
  return t;
}

// Every kind of entry, with values of every sign.
seams::FitDocument sample() {
  seams::FitDocument fit;
  fit.name = "oak \"rim\", 3 rings \xC3\xA9";
  fit.smallest_fill_mm = 3.175;
  fit.form_profile = {{0, 100}, {50, 86.6025}, {100, 0}};
  fit.tiles.push_back(placed_tile());
  seams::FitTile absent, unseen_tile;
  absent.label = "A02", absent.ring = 2, absent.state = plan::TileState::absent;
  unseen_tile.label = "A03", unseen_tile.ring = 3, unseen_tile.state = plan::TileState::unseen;
  fit.tiles.push_back(absent);
  fit.tiles.push_back(unseen_tile);
  seams::FitSeam seen;
  seen.tiles = {"A01", "A02"};
  seen.verdict = seams::Verdict::too_tight;
  seen.narrowest_mm = -0.1234;
  seen.u95_mm = 0.0789;
  seen.at = {1.5, -2.5, 3.5};
  seen.map = {-7.25, 8.5};
  seen.length_mm = 31.5;
  seen.tight_length_mm = 9;
  seen.throat_mm = -0.5;
  seen.throat_from = seams::ThroatFrom::walls;
  seen.samples = {{0, 2.5, 0.05, {1, 2, 3}, {4, 5, 6}}, {0.5, -0.1234, -1.25, {-1, -2, -3}, {7, 8, 9}}};
  seen.best_photo = "photo_07";
  seen.advice = {"photograph from above", "raise the camera"};
  seams::FitSeam unseen;
  unseen.tiles = {"A01", "A03"};
  fit.seams = {seen, unseen};
  seams::Correction move;
  move.tile = "A01";
  move.along_mm = 0.8;
  move.towards_pole_mm = -0.4;
  move.turn_deg = 0.3;
  move.frees = {{{"A01", "A02"}, 3.21}};
  seams::Correction sand;
  sand.action = seams::Correction::Action::sand;
  sand.tile = "A02";
  sand.facing = "A01";
  sand.from = {1, 2};
  sand.to = {3, -4};
  sand.depth_mm = 0.6;
  sand.length_mm = 12;
  fit.corrections = {move, sand};
  fit.corrections_refused = {"no move frees A03"};
  fit.quality = {20, 19, 0.31, 0.28, 0.05, -0.02, {{"photo_20", "shows no card"}}, true};
  return fit;
}

TEST(FitDocument, ReadsWhatWasWritten) {
  const seams::FitDocument a = sample(), b = seams::parse_fit(seams::write_fit(a), "fit.json");
  EXPECT_EQ(b.name, a.name);
  EXPECT_EQ(b.smallest_fill_mm, a.smallest_fill_mm);
  EXPECT_EQ(b.form_profile, a.form_profile);
  ASSERT_EQ(b.tiles.size(), 3u);
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(b.tiles[i].label, a.tiles[i].label);
    EXPECT_EQ(b.tiles[i].ring, a.tiles[i].ring);
    EXPECT_EQ(b.tiles[i].state, a.tiles[i].state);
  }
  const seams::FitTile &t = a.tiles[0], &u = b.tiles[0];
  EXPECT_EQ(u.moved_mm, t.moved_mm);
  EXPECT_EQ(u.turned_deg, t.turned_deg);
  EXPECT_EQ(u.height_mm, t.height_mm);
  EXPECT_EQ(u.arris_sd_mm, t.arris_sd_mm);
  ASSERT_EQ(u.walls.size(), t.walls.size());
  for (std::size_t i = 0; i < t.walls.size(); ++i) {
    EXPECT_EQ(u.walls[i].facing, t.walls[i].facing);
    EXPECT_EQ(u.walls[i].bevel_deg, t.walls[i].bevel_deg);
    EXPECT_EQ(u.walls[i].sd_deg, t.walls[i].sd_deg);
    EXPECT_EQ(u.walls[i].measured, t.walls[i].measured);
  }
  EXPECT_LT((u.face.normal - t.face.normal).norm(), 1e-8);
  EXPECT_LT((u.face.ex - t.face.ex).norm(), 1e-8);
  EXPECT_LT((u.face.ey - t.face.ey).norm(), 1e-8);
  ASSERT_EQ(u.arris.size(), t.arris.size());
  ASSERT_EQ(u.root.size(), t.root.size());
  for (std::size_t i = 0; i < t.arris.size(); ++i) {
    EXPECT_LT((u.arris[i] - t.arris[i]).norm(), 1e-4);
    EXPECT_LT((u.root[i] - t.root[i]).norm(), 1e-4);
  }
}

TEST(FitDocument, ReadsSeamsAndWorkAsWritten) {
  const seams::FitDocument a = sample(), b = seams::parse_fit(seams::write_fit(a), "fit.json");
  ASSERT_EQ(b.seams.size(), 2u);
  const seams::FitSeam &s = a.seams[0], &r = b.seams[0];
  EXPECT_EQ(r.tiles, s.tiles);
  EXPECT_EQ(r.verdict, s.verdict);
  EXPECT_EQ(r.narrowest_mm, s.narrowest_mm);
  EXPECT_EQ(r.u95_mm, s.u95_mm);
  EXPECT_EQ(r.at, s.at);
  EXPECT_EQ(r.map, s.map);
  EXPECT_EQ(r.length_mm, s.length_mm);
  EXPECT_EQ(r.tight_length_mm, s.tight_length_mm);
  EXPECT_EQ(r.throat_mm, s.throat_mm);
  EXPECT_EQ(r.throat_from, s.throat_from);
  EXPECT_EQ(r.best_photo, s.best_photo);
  EXPECT_EQ(r.advice, s.advice);
  ASSERT_EQ(r.samples.size(), 2u);
  EXPECT_EQ(r.samples[1].width_mm, -0.1234);
  EXPECT_EQ(r.samples[1].sd_mm, -1.25);
  EXPECT_EQ(r.samples[1].b, s.samples[1].b);
  EXPECT_EQ(b.seams[1].verdict, seams::Verdict::unseen);
  EXPECT_FALSE(b.seams[1].narrowest_mm || b.seams[1].u95_mm || b.seams[1].throat_mm);
  ASSERT_EQ(b.corrections.size(), 2u);
  EXPECT_EQ(b.corrections[0].towards_pole_mm, -0.4);
  ASSERT_EQ(b.corrections[0].frees.size(), 1u);
  EXPECT_EQ(b.corrections[0].frees[0].width_after_mm, 3.21);
  EXPECT_EQ(b.corrections[1].action, seams::Correction::Action::sand);
  EXPECT_EQ(b.corrections[1].to, Vector2d(3, -4));
  EXPECT_EQ(b.corrections_refused, a.corrections_refused);
  EXPECT_EQ(b.quality.length_error_mm, -0.02);
  EXPECT_EQ(b.quality.photos_used, 19);
  EXPECT_TRUE(b.quality.check_line_given);
  ASSERT_EQ(b.quality.left_out.size(), 1u);
  EXPECT_EQ(b.quality.left_out[0].reason, "shows no card");
}

TEST(FitDocument, WritingWhatWasReadGivesTheSameBytes) {
  seams::FitDocument fit = sample();
  fit.seams[0].narrowest_mm = 2.00005000001;  // where rounding is in doubt
  fit.tiles[0].moved_mm = {-0.00001, 1.0 / 3};
  const std::string once = seams::write_fit(fit),
                    twice = seams::write_fit(seams::parse_fit(once, "fit.json"));
  EXPECT_EQ(once, twice);
  EXPECT_EQ(once.find("-0.0,"), std::string::npos);  // no minus before what rounds to nothing
}

// Names as long as a file system allows (255 bytes) come from the user's own photos.
TEST(FitDocument, LongPhotoNamesAreRead) {
  seams::FitDocument fit = sample();
  fit.seams[0].best_photo = std::string(251, 'x');
  fit.quality.left_out[0].photo = std::string(251, 'y');
  const seams::FitDocument read = seams::parse_fit(seams::write_fit(fit), "fit.json");
  EXPECT_EQ(read.seams[0].best_photo, fit.seams[0].best_photo);
  EXPECT_EQ(read.quality.left_out[0].photo, fit.quality.left_out[0].photo);
}

TEST(FitDocument, CutShortAnywhereIsRefused) {
  const std::string text = seams::write_fit(sample());
  for (std::size_t n = 0; n + 1 < text.size(); n += 7) {  // the last byte is the line's end
    EXPECT_THROW(seams::parse_fit(text.substr(0, n), "fit.json"), core::InputError) << n;
  }
}

void refused(const json& document, const std::string& says) {
  try {
    seams::parse_fit(document.dump(), "fit.json");
    ADD_FAILURE() << "taken: " << says;
  } catch (const core::InputError& e) {
    const std::string line = e.what();
    EXPECT_EQ(line.find("fit.json: "), 0u) << line;
    EXPECT_NE(line.find(says), std::string::npos) << line;
    EXPECT_EQ(line.find('\n'), std::string::npos) << line;
  }
}

TEST(FitDocument, EveryMissingKeyIsNamed) {
  const json good = json::parse(seams::write_fit(sample()));
  for (const char* key : {"format", "version", "smallest_fill_mm", "quality", "tiles", "seams"}) {
    json bad = good;
    bad.erase(key);
    refused(bad, std::string("\"") + key + "\" is missing");
  }
  for (const char* key : {"tiles", "verdict", "map", "length_mm", "tight_length_mm"}) {
    json bad = good;
    bad["seams"][1].erase(key);
    refused(bad, "seams[1]");
    refused(bad, key);
  }
}

TEST(FitDocument, WrongValuesAreNamedByPlace) {
  const json good = json::parse(seams::write_fit(sample()));
  const auto with = [&](const char* place, const json& value) {
    json bad = good;
    bad[json::json_pointer(place)] = value;
    return bad;
  };
  refused(with("/format", "something else"), "this is not a fit file");
  refused(with("/version", 2), "only version 1");
  refused(with("/smallest_fill_mm", 0), "smallest_fill_mm");
  refused(with("/tiles/0/state", "glued"), "tiles[0].state");
  refused(with("/tiles/0/arris/3/1", "near"), "tiles[0].arris[3]");
  refused(with("/tiles/0/arris_sd_mm", json::array({0.1})), "tiles[0].arris_sd_mm");
  refused(with("/tiles/0/root", json::array()), "tiles[0].root");
  refused(with("/seams/0/verdict", "fine"), "seams[0].verdict");
  refused(with("/seams/0/narrowest_mm", nullptr), "seams[0]");
  refused(with("/seams/0/tiles", json::array({"A01"})), "seams[0].tiles");
  refused(with("/seams/0/samples/1/width", "wide"), "seams[0].samples[1].width");
  refused(with("/corrections/0/action", "glue"), "corrections[0].action");
  refused(with("/quality/photos_used", -1), "quality.photos_used");
  refused(json::array(), "");
}

// Any value replaced by any other kind of value: read or refused in one line, never anything else.
TEST(FitDocument, ForeignValuesAreReadOrRefused) {
  const json good = json::parse(seams::write_fit(sample()));
  const json flat = good.flatten();
  const json values[] = {nullptr, true, -1, 1e300, "text", json::array(), json::object(), {1, "x"}};
  int turned_down = 0;
  for (const auto& [pointer, value] : flat.items()) {
    for (json::json_pointer at(pointer); !at.empty(); at.pop_back()) {
      for (const json& other : values) {
        json bad = good;
        bad[at] = other;
        std::string what = "fit.json: ";
        try {
          seams::parse_fit(bad.dump(), "fit.json");
        } catch (const core::InputError& e) {
          what = e.what();
          ++turned_down;
        }
        EXPECT_EQ(what.find('\n'), std::string::npos);
        EXPECT_EQ(what.rfind("fit.json: ", 0), 0u) << what;
      }
    }
  }
  EXPECT_GT(turned_down, 500);
}

}  // namespace
}  // namespace interstice
