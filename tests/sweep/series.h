// What is swept: one option at a time over a scene of a few pieces, everything else at its default.
#pragma once

#include <string>
#include <vector>

#include "renderer/options.h"

namespace interstice::sweep {

struct Point {
  std::string label;                  // on the axis and in file names
  double x = 0;                       // place on the axis
  std::vector<std::string> settings;  // for renderer::set_option
};

struct Series {
  std::string name;   // in file names
  std::string title;  // over the curve
  std::string unit;
  bool numbers = true;  // false: the labels are names and stand side by side
  std::vector<Point> points;
};

std::vector<Series> all_series();

// The scene every point starts from.
renderer::SceneOptions base_scene();

// The scene of a point for one seed.
renderer::SceneOptions scene_of(const Point& point, int seed);

}  // namespace interstice::sweep
