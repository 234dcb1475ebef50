#include "layout/form_lines.h"

#include <algorithm>
#include <cmath>

#include "core/errors.h"

namespace interstice::layout {

using Eigen::Vector2d;

namespace {

constexpr double kTouch = 1e-4;  // of the drawing's size: programs write four decimals and more

double reach_of(const Polyline& line) {
  Vector2d low(1e300, 1e300), high(-1e300, -1e300);
  for (const Vector2d& p : line) low = low.cwiseMin(p), high = high.cwiseMax(p);
  return line.empty() ? 0 : (high - low).norm();
}

}  // namespace

std::vector<Polyline> joined(std::vector<Polyline> lines) {
  Polyline all;
  for (const Polyline& line : lines) all.insert(all.end(), line.begin(), line.end());
  const double touch = kTouch * reach_of(all);
  const auto meet = [&](const Vector2d& a, const Vector2d& b) { return (a - b).norm() <= touch; };
  std::vector<Polyline> chains;
  while (!lines.empty()) {
    Polyline chain = std::move(lines.front());
    lines.erase(lines.begin());
    for (bool grown = true; grown && !meet(chain.front(), chain.back());) {
      grown = false;
      for (std::size_t i = 0; i < lines.size() && !grown; ++i) {
        Polyline& next = lines[i];
        if (meet(next.front(), next.back())) continue;
        grown = true;
        if (meet(chain.back(), next.front())) {
          chain.insert(chain.end(), next.begin() + 1, next.end());
        } else if (meet(chain.back(), next.back())) {
          chain.insert(chain.end(), next.rbegin() + 1, next.rend());
        } else if (meet(chain.front(), next.back())) {
          chain.insert(chain.begin(), next.begin(), next.end() - 1);
        } else if (meet(chain.front(), next.front())) {
          chain.insert(chain.begin(), next.rbegin(), next.rend() - 1);
        } else {
          grown = false;
        }
        if (grown) lines.erase(lines.begin() + static_cast<std::ptrdiff_t>(i));
      }
    }
    chains.push_back(std::move(chain));
  }
  return chains;
}

const Polyline& the_only(const std::vector<Polyline>& lines, const std::string& file) {
  const Polyline* only = nullptr;
  std::size_t count = 0;
  for (const Polyline& line : lines) {
    if (line.size() >= 3) only = &line, ++count;
  }
  if (count == 0)
    throw core::InputError(
        file, "holds no line of at least 3 points: draw half the profile, from the pole to the rim");
  if (count > 1) {
    throw core::InputError(file,
                           "holds " + std::to_string(count) +
                               " lines that do not meet at their ends: keep only half the profile, from the "
                               "pole to the rim");
  }
  if ((only->front() - only->back()).norm() <= kTouch * reach_of(*only)) {
    throw core::InputError(file,
                           "its line is closed: keep only half the profile, open, from the pole to the rim");
  }
  return *only;
}

}  // namespace interstice::layout
