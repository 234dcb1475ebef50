// A small made-up result: a dome, three pieces, three seams, one photo; labels and names as given.
#pragma once

#include <filesystem>
#include <opencv2/imgcodecs.hpp>

#include "report/page.h"

namespace interstice::testing_support {

inline geometry::Profile dome(double radius_mm) {
  std::vector<Eigen::Vector2d> rz;
  for (int i = 0; i <= 30; ++i) {
    const double a = M_PI / 2 * i / 30;
    rz.emplace_back(i == 0 ? 0.0 : radius_mm * std::sin(a), radius_mm * std::cos(a));
  }
  return geometry::Profile(rz);
}

inline seams::FitTile square_piece(const geometry::Profile& form, const std::string& label, double u) {
  seams::FitTile tile;
  tile.label = label;
  tile.state = plan::TileState::placed;
  const Eigen::Vector2d uv(u, 0);
  tile.face.origin = form.point(uv, 14);
  tile.face.normal = form.normal(uv);
  tile.face.ex = form.along_ring(uv);
  tile.face.ey = tile.face.normal.cross(tile.face.ex);
  for (int i = 0; i < 40; ++i) {
    const double t = i % 10 * 3.0 - 15;
    const Eigen::Vector2d side[] = {{t, -15}, {15, t}, {-t, 15}, {-15, -t}};
    tile.arris.push_back(tile.face.lift(side[i / 10]));
    tile.arris_sd_mm.push_back(0.03);
  }
  tile.root = tile.arris;
  return tile;
}

inline seams::FitSeam seam_between(const geometry::Profile& form, const seams::FitTile& a,
                                   const seams::FitTile& b, double width_mm, seams::Verdict verdict) {
  seams::FitSeam seam;
  seam.tiles = {a.label, b.label};
  seam.verdict = verdict;
  seam.narrowest_mm = width_mm;
  seam.u95_mm = 0.1;
  const Eigen::Vector3d middle = (a.face.origin + b.face.origin) / 2;
  for (int i = 0; i <= 40; ++i) {
    const double s = 0.5 * i, width = width_mm + 0.002 * (i - 20) * (i - 20);
    const Eigen::Vector3d p = middle + (s - 10) * a.face.ex,
                          across = width / 2 * (b.face.origin - a.face.origin).normalized();
    seam.samples.push_back({s, width, i < 3 ? -1.0 : 0.05, p - across, p + across});
  }
  seam.at = middle;
  seam.map = form.locate(middle).uv;
  seam.length_mm = 20;
  seam.tight_length_mm = verdict == seams::Verdict::too_tight ? 8 : 0;
  seam.throat_mm = width_mm - 0.3;
  return seam;
}

// `names`: of the piece, three labels, the photo.
inline report::PageInput sample_page(const std::vector<std::string>& names,
                                     const std::filesystem::path& folder) {
  report::PageInput input;
  const geometry::Profile form = dome(100);
  input.fit.name = input.plan.name = names[0];
  input.plan.profile = form;
  input.plan.tile_thickness_mm = 14;
  input.fit.form_profile = form.points();
  for (int i = 0; i < 3; ++i) {
    const std::string& label = names[static_cast<std::size_t>(i) + 1];
    const double u = 20 + 33.0 * i;
    input.fit.tiles.push_back(square_piece(form, label, u));
    input.plan.tiles.push_back({label, 3 - i, {{u - 12, -12}, {u + 12, -12}, {u + 12, 12}, {u - 12, 12}}});
    input.fit.tiles.back().ring = 3 - i;
  }
  const auto& tiles = input.fit.tiles;
  input.fit.seams = {seam_between(form, tiles[0], tiles[1], 2.2357, seams::Verdict::too_tight),
                     seam_between(form, tiles[1], tiles[2], 2.95, seams::Verdict::doubtful),
                     seam_between(form, tiles[0], tiles[2], 4.5, seams::Verdict::clear)};
  input.fit.seams[0].best_photo = input.fit.seams[1].best_photo = names[4];
  input.fit.seams[1].advice = {"photograph " + names[2] + " from 20 mm nearer"};
  input.fit.corrections = {
      {seams::Correction::Action::sand,
       names[1],
       0,
       0,
       0,
       names[2],
       {30, 0},
       {30, 10},
       0.6,
       18,
       {{input.fit.seams[0].tiles, 3.1}}},
      {seams::Correction::Action::move, names[3], 0.7, -0.4, 0, "", {0, 0}, {0, 0}, 0, 0, {}}};
  input.fit.quality = {3, 1, 0.2, 0.2, 0.1, -0.05, {{names[4] + "_2", "blurred"}}, true};
  scan::ScannedPhoto photo;
  photo.info.path = folder / "photo.jpg";
  photo.info.name = names[4];
  photo.info.width = photo.lens.width = 800;
  photo.info.height = photo.lens.height = 600;
  photo.lens.fx = photo.lens.fy = 900;
  photo.lens.cx = 400;
  photo.lens.cy = 300;
  photo.camera_T_bowl.matrix() << 1, 0, 0, 0, 0, -1, 0, 0, 0, 0, -1, 500, 0, 0, 0, 1;
  cv::Mat picture(600, 800, CV_8UC3);
  for (int y = 0; y < 600; ++y) {
    for (int x = 0; x < 800; ++x)
      picture.at<cv::Vec3b>(y, x) = {60, static_cast<uchar>(x / 4), static_cast<uchar>(y / 3)};
  }
  cv::imwrite(photo.info.path.string(), picture);
  input.scan.photos.push_back(photo);
  input.heights.grid = surface::MapGrid::covering(form.length(), 4);
  input.heights.height =
      cv::Mat(input.heights.grid.side(), input.heights.grid.side(), CV_32F, cv::Scalar(14));
  input.ortho_grid = surface::MapGrid::covering(form.length(), 2);
  input.ortho = cv::Mat(input.ortho_grid.side(), input.ortho_grid.side(), CV_8UC3, cv::Scalar(90, 140, 180));
  return input;
}

}  // namespace interstice::testing_support
