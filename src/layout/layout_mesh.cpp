#include <Eigen/Geometry>
#include <algorithm>

#include "layout/layout_seeds.h"

namespace interstice::layout {
namespace {

using Walk = std::vector<std::size_t>;

std::optional<std::size_t> other_cell(const CornerMesh::Corner& corner, std::size_t a, std::size_t b) {
  for (const std::size_t c : corner.cells) {
    if (c != a && c != b) return c;
  }
  return std::nullopt;
}

void insert_before(Walk& walk, std::size_t what, std::size_t before) {
  walk.insert(std::find(walk.begin(), walk.end(), before), what);
}

}  // namespace

bool CornerMesh::flip(std::size_t i, std::size_t j, const geometry::Profile& form) {
  if (corners[i].on_rim || corners[j].on_rim) return false;
  const auto follows = [&](const Walk& walk, std::size_t first, std::size_t second) {
    const auto it = std::find(walk.begin(), walk.end(), first);
    if (it == walk.end()) return false;
    return (it + 1 == walk.end() ? walk.front() : *(it + 1)) == second;
  };
  std::optional<std::size_t> a, b;
  for (const std::size_t c : corners[i].cells) {
    if (follows(cells[c], i, j)) a = c;
    if (follows(cells[c], j, i)) b = c;
  }
  if (!a || !b || cells[*a].size() < 5 || cells[*b].size() < 5) return false;
  const auto c = other_cell(corners[i], *a, *b), d = other_cell(corners[j], *a, *b);
  if (!c || !d || *c == *d) return false;
  for (const std::size_t k : cells[*c]) {  // they must not touch already
    if (std::find(corners[k].cells.begin(), corners[k].cells.end(), *d) != corners[k].cells.end())
      return false;
  }
  std::erase(cells[*a], j);
  std::erase(cells[*b], i);
  insert_before(cells[*c], j, i);
  insert_before(cells[*d], i, j);
  corners[i].cells = {*a, *c, *d};
  corners[j].cells = {*b, *c, *d};
  const Eigen::Vector3d p = form.point(corners[i].uv), q = form.point(corners[j].uv), middle = (p + q) / 2;
  const Eigen::Vector3d up = (form.normal(corners[i].uv) + form.normal(corners[j].uv)).normalized();
  const Eigen::Vector3d across = up.cross(q - p);  // towards a
  corners[i].uv = form.locate(middle + across / 2).uv;
  corners[j].uv = form.locate(middle - across / 2).uv;
  return true;
}

}  // namespace interstice::layout
