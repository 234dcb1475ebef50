#include "layout/trace.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <sstream>

#include "core/errors.h"
#include "core/name_check.h"
#include "core/trimmed.h"
#include "layout/trace_cells.h"
#include "layout/trace_plan.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

std::string place(const Vector2d& uv) {
  return fmt::format("near u = {:.0f}, v = {:.0f} mm", uv.x(), uv.y());
}

// Cells whose outline is mostly guessed are left out and named.
std::vector<TracedCell> trusted(const std::vector<TracedCell>& cells, TraceResult& result) {
  constexpr double kMost = 0.5;
  std::vector<int> new_index(cells.size(), -1);
  std::vector<TracedCell> kept;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const TracedCell& c = cells[i];
    if (c.unseen_share > kMost || c.undrawn_share > kMost) {
      result.left_out.push_back(place(geometry::centroid(c.outline)) + ": " +
                                (c.unseen_share > kMost ? "the photos do not show the outline"
                                                        : "less than half of the outline is drawn"));
      continue;
    }
    new_index[i] = static_cast<int>(kept.size());
    kept.push_back(c);
  }
  for (TracedCell& c : kept) {
    for (int& b : c.beyond) b = b >= 0 ? new_index[static_cast<std::size_t>(b)] : -1;
  }
  return kept;
}

void sort_by_label(plan::Plan& plan, const std::vector<TracedCell>& cells, TraceResult& result) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const std::string& label = plan.tiles[geometry::TileIndex(i)].label;
    if (cells[i].unseen_share > 0.02)
      result.look_again.push_back(label + ": part of its outline is not in the photos");
    if (cells[i].undrawn_share > 0.05) result.look_again.push_back(label + ": its line has breaks");
    if (cells[i].line_ends_inside)
      result.look_again.push_back(label +
                                  ": a line ends inside it; if two pieces are drawn there, close the line");
  }
  std::vector<plan::PlannedTile> tiles(plan.tiles.begin(), plan.tiles.end());
  std::sort(tiles.begin(), tiles.end(), [](const plan::PlannedTile& a, const plan::PlannedTile& b) {
    return std::pair(a.ring, a.label) < std::pair(b.ring, b.label);
  });
  plan.tiles = geometry::IndexedVector<geometry::TileIndex, plan::PlannedTile>(std::move(tiles));
  std::sort(result.look_again.begin(), result.look_again.end());
}

}  // namespace

TraceResult trace_layout(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                         const TraceOptions& options) {
  TraceResult result;
  const LinePicture lines = find_lines(picture, form);
  const std::vector<TracedCell> cells = trusted(find_cells(picture, form, lines), result);
  if (cells.empty()) {
    throw core::MeasureError(
        "no closed outlines found on the form: close the drawn lines and photograph it again");
  }
  plan_of_cells(cells, form, options, result);
  sort_by_label(result.plan, cells, result);
  return result;
}

namespace {

// Every line that holds two labels: its number and both. Throws InputError for any other but comments.
struct LabelLine {
  int number;
  std::string from, to;
};

std::vector<LabelLine> label_lines(const std::string& text, const std::string& file) {
  std::vector<LabelLine> out;
  std::istringstream in(text);
  std::string line;
  for (int number = 1; std::getline(in, line); ++number) {
    line = core::trimmed(line.substr(0, line.find('#')));
    if (line.empty()) continue;
    const auto fail = [&](const std::string& what) {
      throw core::InputError(file, "line " + std::to_string(number) + ": " + what);
    };
    const std::size_t comma = line.find_first_of(",;\t");
    if (comma == std::string::npos) fail("needs two labels with a comma between them: proposed, wanted");
    const std::string from = core::trimmed(line.substr(0, comma)), to = core::trimmed(line.substr(comma + 1));
    if (to.empty() || to.size() > 40) fail("the wanted label must have 1 to 40 characters");
    if (const auto fault = core::character_fault(to)) fail("the wanted label " + *fault);
    if (std::any_of(out.begin(), out.end(), [&](const LabelLine& l) { return l.from == from; }))
      fail("the label \"" + core::one_line(from, 40) + "\" stands twice");
    out.push_back({number, from, to});
  }
  return out;
}

}  // namespace

std::map<std::string, std::string> read_labels(const std::string& text, const std::string& file) {
  std::map<std::string, std::string> wanted;
  for (LabelLine& line : label_lines(text, file)) wanted.emplace(line.from, line.to);
  return wanted;
}

void rename_tiles(plan::Plan& plan, const std::string& text, const std::string& file) {
  std::map<std::string, std::string> wanted;
  for (const LabelLine& line : label_lines(text, file)) {
    const bool known = std::any_of(plan.tiles.begin(), plan.tiles.end(),
                                   [&](const plan::PlannedTile& t) { return t.label == line.from; });
    if (!known) {
      throw core::InputError(file, "line " + std::to_string(line.number) + ": no piece is labelled \"" +
                                       core::one_line(line.from, 40) + "\"");
    }
    wanted.emplace(line.from, line.to);
  }
  std::set<std::string> used;
  for (plan::PlannedTile& tile : plan.tiles) {
    if (const auto it = wanted.find(tile.label); it != wanted.end()) tile.label = it->second;
    if (!used.insert(tile.label).second) {
      throw core::InputError(file, "two pieces would be labelled \"" + core::one_line(tile.label, 40) + "\"");
    }
  }
}

}  // namespace interstice::layout
