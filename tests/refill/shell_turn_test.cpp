#include "refill/shell_turn.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "channels/true_fit.h"
#include "core/errors.h"

namespace interstice::refill {
namespace {

TEST(ShellTurn, ThePictureOfBeforeIsLaidOnTheSameMap) {
  surface::MapPicture fine{surface::MapGrid::covering(20, 0.5), {}};
  fine.colour = cv::Mat(fine.grid.side(), fine.grid.side(), CV_8UC3, cv::Scalar::all(0));
  for (int r = 0; r < fine.grid.side(); ++r) {
    for (int c = 0; c < fine.grid.side(); ++c) {
      const Eigen::Vector2d uv = fine.grid.uv(c, r);
      if (uv.norm() > 15) continue;  // beyond, nothing was seen
      fine.colour.at<cv::Vec3b>(r, c) = {uchar(100 + 4 * uv.x()), uchar(100 - 4 * uv.y()), 50};
    }
  }
  const surface::MapGrid grid = surface::MapGrid::covering(20, 1.0);
  const cv::Mat out = on_grid(fine, grid);
  for (int r = 0; r < grid.side(); ++r) {
    for (int c = 0; c < grid.side(); ++c) {
      const Eigen::Vector2d uv = grid.uv(c, r);
      const cv::Vec3f seen = out.at<cv::Vec3f>(r, c);
      if (uv.norm() > 16.5) {
        EXPECT_TRUE(std::isnan(seen[0])) << uv.transpose();
      }
      if (uv.norm() > 14) continue;
      EXPECT_NEAR(seen[0], 100 + 4 * uv.x(), 1.01) << uv.transpose();
      EXPECT_NEAR(seen[1], 100 - 4 * uv.y(), 1.01) << uv.transpose();
      EXPECT_NEAR(seen[2], 50, 0.01);
    }
  }
}

TEST(ShellTurn, OnlyPlacedPiecesLieOnTheMap) {
  std::vector<Eigen::Vector2d> rz;
  for (int i = 0; i <= 60; ++i)
    rz.emplace_back(100 * std::sin(i * M_PI / 120), 100 * std::cos(i * M_PI / 120));
  rz.back().y() = 0;
  const geometry::Profile profile(rz);
  seams::FitDocument fit;
  fit.tiles.resize(2);
  fit.tiles[1].state = plan::TileState::placed;
  for (const double u : {10.0, 20.0, 15.0})
    fit.tiles[1].arris.push_back(profile.point({u, u == 15 ? 9 : 0}, 12));
  const auto outlines = measured_on_map(fit, profile);
  ASSERT_EQ(outlines.size(), 2u);
  EXPECT_TRUE(outlines[0].empty());
  ASSERT_EQ(outlines[1].size(), 3u);
  EXPECT_NEAR(outlines[1][0].x(), 10, 0.02);
  EXPECT_NEAR(outlines[1][2].y(), 9, 0.02);
}

// Every third photo of a dry shell, with the poses it was taken from.
scan::Scan true_scan(const std::filesystem::path& folder) {
  scan::Scan out;
  const std::string file = (folder / "truth.json").string();
  const nlohmann::json document = core::read_json(file);
  for (std::size_t i = 0; i < document["cameras"].size(); i += 3) {
    const nlohmann::json& c = document["cameras"][i];
    scan::ScannedPhoto photo;
    photo.info = camera::read_photo_info(folder / "photos" / (c["name"].get<std::string>() + ".jpg"));
    photo.lens = camera::plain_lens(photo.info.width, photo.info.height, c["fx"]);
    photo.lens.cx = c["cx"], photo.lens.cy = c["cy"];
    photo.lens.k1 = c["k"][0], photo.lens.k2 = c["k"][1], photo.lens.k3 = c["k"][2];
    photo.lens.p1 = c["p"][0], photo.lens.p2 = c["p"][1];
    photo.camera_T_bowl = Eigen::Isometry3d::Identity();
    for (int r = 0; r < 3; ++r) {
      for (int k = 0; k < 3; ++k) photo.camera_T_bowl.linear()(r, k) = c["R"][std::size_t(r)][std::size_t(k)];
      photo.camera_T_bowl.translation()[r] = c["t"][std::size_t(r)];
    }
    out.photos.push_back(photo);
  }
  out.quality.pixel_footprint_mm = 0.25;
  return out;
}

struct Seen {
  testing::TrueShell shell;
  seams::FitDocument fit;
  scan::Scan scan;
};

const Seen& plover_seen() {
  static const Seen seen = [] {
    const auto folder = *testing::scan_folder("plover");
    Seen s{testing::read_true_shell(folder), {}, true_scan(folder)};
    s.fit = testing::true_fit(s.shell);
    return s;
  }();
  return seen;
}

// The map as these photos show it, for a dry frame turned against theirs by `angle`.
surface::MapPicture picture_at(double angle) {
  const Seen& s = plover_seen();
  const surface::MapGrid grid = surface::MapGrid::covering(s.shell.plan.profile.length() + 2, 0.5);
  const scan::Scan scan = scan::turned(s.scan, angle);
  cv::Mat codes = surface::faces_on_map(
      scan, surface::read_pictures(scan, surface::kMapFootprint_mm, true, 2), s.shell.plan, grid, 2);
  cv::patchNaNs(codes, 0);
  surface::MapPicture out{grid, {}};
  codes.convertTo(out.colour, CV_8UC3);
  return out;
}

double off_deg(double a, double b) {
  return std::abs(std::remainder(a - b, 2 * std::numbers::pi)) * 180 / std::numbers::pi;
}

// A picture that says a wrong turn, and says it first: the wood looks most alike where no piece lies in its place.
TEST(ShellTurn, PiecesTellTheTurnWhateverThePictureSays) {
  const Seen& s = plover_seen();
  const double angle = 1.1;
  const scan::Scan scan = scan::turned(s.scan, -angle);
  const double by_outlines = find_shell_turn(scan, {s.fit, std::nullopt}, s.shell.plan, 2);
  EXPECT_LT(off_deg(by_outlines, angle), 0.1);  // 0.2 mm at the rim, less than the turns tried are apart
  EXPECT_LT(off_deg(find_shell_turn(scan, {s.fit, picture_at(2.4)}, s.shell.plan, 2), angle), 0.1);
}

// The same pieces a quarter of a shell's pieces farther on, each in another's place: none lies where it was.
TEST(ShellTurn, AnotherShellIsAtNoTurn) {
  const Seen& s = plover_seen();
  seams::FitDocument other = s.fit;
  for (std::size_t i = 0; i < other.tiles.size(); ++i) {
    seams::FitTile& tile = other.tiles[i];
    const double by = 0.35 * std::sin(2.7 * static_cast<double>(i));  // rad, each its own way
    const Eigen::Matrix3d turn = Eigen::AngleAxisd(by, tile.face.normal).toRotationMatrix();
    const Eigen::Vector3d middle = tile.face.origin;
    for (Eigen::Vector3d& p : tile.arris)
      p = middle + turn * (p - middle) + 3 * std::cos(1.9 * static_cast<double>(i)) * tile.face.ex;
  }
  EXPECT_THROW(find_shell_turn(s.scan, {other, std::nullopt}, s.shell.plan, 2), core::MeasureError);
}

TEST(ShellTurn, ThreeOfFivePiecesMustAgree) {
  Registration r;
  r.pieces = 14;
  r.agreeing = 8;
  EXPECT_FALSE(found_again(r));
  r.agreeing = 9;
  EXPECT_TRUE(found_again(r));
}

}  // namespace
}  // namespace interstice::refill
