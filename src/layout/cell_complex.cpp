#include "layout/cell_complex.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

#include "core/median.h"

namespace interstice::layout {

using Eigen::Vector2d;
using Eigen::Vector3d;

void mark_lowest(CellComplex& complex, double rim_rho) {
  // By degree of the compass: each cell's nearest and farthest place from the pole, and the outermost cell.
  constexpr std::size_t kBins = 360;
  struct Span {
    double from = std::numeric_limits<double>::infinity(), to = 0;
  };
  const std::size_t n = complex.cells.size();
  std::vector<std::map<std::size_t, Span>> spans(n);
  std::vector<std::size_t> outermost(kBins, n);
  for (std::size_t i = 0; i < n; ++i) {
    for (const Vector2d& p : complex.cells[i]) {
      const double turn = std::atan2(p.y(), p.x()) / (2 * std::numbers::pi) + 0.5, rho = p.norm();
      Span& span = spans[i][std::min(kBins - 1, static_cast<std::size_t>(turn * kBins))];
      span.from = std::min(span.from, rho), span.to = std::max(span.to, rho);
    }
    for (const auto& [bin, span] : spans[i]) {
      if (outermost[bin] == n || spans[outermost[bin]][bin].to < span.to) outermost[bin] = i;
    }
  }
  for (std::size_t i = 0; i < n; ++i) {
    std::vector<double> above;
    std::size_t free = 0;
    double depth = 0;
    for (const auto& [bin, span] : spans[i]) {
      above.push_back(rim_rho - span.to);
      free += outermost[bin] == i;
      depth = std::max(depth, span.to - span.from);
    }
    constexpr double kNear = 0.6;
    if (2 * free > spans[i].size() && core::median(above) < kNear * depth) complex.on_rim[i] = 1;
  }
}

std::vector<int> rings_from_rim(const CellComplex& complex) {
  std::vector<int> ring(complex.cells.size(), 0);
  for (std::size_t i = 0; i < ring.size(); ++i) ring[i] = complex.on_rim[i] ? 1 : 0;
  bool changed = true;
  for (int level = 1; changed; ++level) {
    changed = false;
    for (const CellSeam& seam : complex.seams) {
      for (const auto& [from, to] : {std::pair(seam.a, seam.b), std::pair(seam.b, seam.a)}) {
        if (ring[from] == level && ring[to] == 0) ring[to] = level + 1, changed = true;
      }
    }
  }
  for (int& r : ring) r = std::max(r, 1);  // a cell without neighbours
  return ring;
}

std::vector<std::string> labels_by_ring(const std::vector<int>& rings, const std::vector<Vector2d>& centres) {
  std::vector<std::string> labels(rings.size());
  const int last = rings.empty() ? 0 : *std::max_element(rings.begin(), rings.end());
  for (int ring = 1; ring <= last; ++ring) {
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t i = 0; i < rings.size(); ++i) {
      if (rings[i] != ring) continue;
      double theta = std::atan2(centres[i].y(), centres[i].x());
      if (theta < 0) theta += 2 * std::numbers::pi;
      order.emplace_back(theta, i);
    }
    std::sort(order.begin(), order.end());
    std::string letters(1, static_cast<char>('A' + (ring - 1) % 26));
    if (ring > 26) letters = static_cast<char>('A' + (ring - 27) / 26) + letters;
    const int digits = order.size() > 99 ? 3 : 2;
    for (std::size_t k = 0; k < order.size(); ++k) {
      std::string number = std::to_string(k + 1);
      number.insert(0, static_cast<std::size_t>(std::max(0, digits - static_cast<int>(number.size()))), '0');
      labels[order[k].second] = letters + number;
    }
  }
  return labels;
}

}  // namespace interstice::layout
