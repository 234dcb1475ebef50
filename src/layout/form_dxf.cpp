#include <dxflib/dl_creationadapter.h>
#include <dxflib/dl_dxf.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <optional>

#include "core/errors.h"
#include "core/files.h"
#include "layout/form_lines.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

class LineCollector : public DL_CreationAdapter {
 public:
  std::vector<Polyline> polylines;
  std::vector<std::pair<Vector2d, Vector2d>> segments;
  std::optional<double> unit_mm;

  void addPolyline(const DL_PolylineData&) override { polylines.emplace_back(); }
  void addVertex(const DL_VertexData& v) override {
    if (polylines.empty()) return;
    Polyline& line = polylines.back();
    const Vector2d p(v.x, v.y);
    if (!line.empty() && std::abs(bulge_) > 1e-9) add_bulge(line, line.back(), p, bulge_);
    line.push_back(p);
    bulge_ = v.bulge;
  }
  void endEntity() override { bulge_ = 0; }
  void addLine(const DL_LineData& l) override {
    segments.emplace_back(Vector2d(l.x1, l.y1), Vector2d(l.x2, l.y2));
  }
  void setVariableInt(const std::string& key, int value, int) override {
    if (key != "$INSUNITS") return;
    if (value == 1) unit_mm = 25.4;
    if (value == 4) unit_mm = 1.0;
    if (value == 5) unit_mm = 10.0;
    if (value == 6) unit_mm = 1000.0;
  }

 private:
  // A bulge is the tangent of a quarter of the arc's angle; positive turns left.
  // By value: the line's own last point moves when the line grows.
  static void add_bulge(Polyline& line, const Vector2d a, const Vector2d b, double bulge) {
    const double angle = 4 * std::atan(bulge);
    const Vector2d chord = b - a, side(-chord.y(), chord.x());
    const Vector2d centre = (a + b) / 2 + side * (1 - bulge * bulge) / (4 * bulge);
    for (int i = 1; i < kChords; ++i)
      line.push_back(centre + Eigen::Rotation2Dd(angle * i / kChords) * (a - centre));
  }
  double bulge_ = 0;
};

// Joins segments end to end, in whatever order and sense they were drawn.
std::vector<Polyline> chained(std::vector<std::pair<Vector2d, Vector2d>> segments) {
  std::vector<Polyline> chains;
  constexpr double kTouch = 1e-3;
  while (!segments.empty()) {
    Polyline chain{segments.back().first, segments.back().second};
    segments.pop_back();
    for (bool grown = true; grown;) {
      grown = false;
      for (std::size_t i = 0; i < segments.size() && !grown; ++i) {
        auto [a, b] = segments[i];
        for (int sense = 0; sense < 2 && !grown; ++sense, std::swap(a, b)) {
          if ((chain.back() - a).norm() < kTouch)
            chain.push_back(b), grown = true;
          else if ((chain.front() - a).norm() < kTouch)
            chain.insert(chain.begin(), b), grown = true;
        }
        if (grown) segments.erase(segments.begin() + static_cast<std::ptrdiff_t>(i));
      }
    }
    chains.push_back(std::move(chain));
  }
  return chains;
}

}  // namespace

DrawnProfile read_dxf_profile(const std::filesystem::path& path) {
  const std::string file = path.string(), text = core::read_file(path, 16u << 20);
  if (text.find("ENTITIES") == std::string::npos)
    throw core::InputError(file, "not a DXF text file: it has no ENTITIES section");
  LineCollector collector;
  DL_Dxf dxf;
  if (!dxf.in(file, &collector)) throw core::InputError(file, "cannot be read as DXF");
  // Joined by comparing every end with every other.
  if (collector.segments.size() > 10000) throw core::InputError(file, "holds more than 10000 lines");
  std::vector<Polyline> lines;
  for (Polyline& line : collector.polylines) {
    if (line.size() >= 3) lines.push_back(std::move(line));
  }
  for (Polyline& chain : chained(std::move(collector.segments))) {
    if (chain.size() >= 3) lines.push_back(std::move(chain));
  }
  DrawnProfile out;
  out.points = the_only(lines, file);
  for (const Vector2d& p : out.points) {
    if (!p.allFinite()) throw core::InputError(file, "holds a coordinate that is not a number");
  }
  out.unit_mm = collector.unit_mm;
  return out;
}

}  // namespace interstice::layout
