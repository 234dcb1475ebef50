#include <dxflib/dl_creationadapter.h>
#include <dxflib/dl_dxf.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <optional>

#include "core/errors.h"
#include "core/files.h"
#include "layout/form_lines.h"
#include "layout/form_spline.h"

namespace interstice::layout {
namespace {

using Eigen::Affine2d;
using Eigen::Vector2d;

constexpr double kPi = std::numbers::pi;
constexpr std::size_t kMostLines = 10000;  // joined by comparing ends with ends
constexpr int kDeepest = 16;               // blocks within blocks

struct BlockCall {
  std::string name;
  Affine2d at = Affine2d::Identity();
};

struct Block {
  Vector2d base{0, 0};
  std::vector<Polyline> lines;
  std::vector<BlockCall> calls;
};

// Lines and curves of every block; the drawing itself is the block without a name.
class CurveCollector : public DL_CreationAdapter {
 public:
  std::map<std::string, Block> blocks;
  std::optional<double> unit_mm;

  void addBlock(const DL_BlockData& b) override {
    name_ = b.name;
    blocks[name_].base = {b.bpx, b.bpy};
  }
  void endBlock() override { name_.clear(); }
  void addInsert(const DL_InsertData& i) override {
    finish();
    BlockCall call{i.name};
    const double sx = mirrored() ? -1 : 1;
    call.at.scale(Vector2d(sx, 1))
        .translate(Vector2d(i.ipx, i.ipy))
        .rotate(i.angle * kPi / 180)
        .scale(Vector2d(i.sx == 0 ? 1 : i.sx, i.sy == 0 ? 1 : i.sy));
    here().calls.push_back(call);
  }
  void addLine(const DL_LineData& l) override {
    finish();
    add({{l.x1, l.y1}, {l.x2, l.y2}});
  }
  void addArc(const DL_ArcData& a) override {
    finish();
    double sweep = std::fmod(a.angle2 - a.angle1, 360.0);
    if (sweep <= 0) sweep += 360;
    Polyline line;
    for (int i = 0; i <= kChords; ++i) {
      const double t = (a.angle1 + sweep * i / kChords) * kPi / 180;
      line.emplace_back(a.cx + a.radius * std::cos(t), a.cy + a.radius * std::sin(t));
    }
    add(in_world(std::move(line)));
  }
  void addEllipse(const DL_EllipseData& e) override {
    finish();
    double sweep = e.angle2 - e.angle1;
    if (sweep <= 1e-9) sweep += 2 * kPi;
    if (sweep > 2 * kPi - 1e-6) return;  // a whole one is no half profile
    const Vector2d major(e.mx, e.my), minor = e.ratio * Vector2d(-e.my, e.mx) * (mirrored() ? -1 : 1);
    Polyline line;
    for (int i = 0; i <= kChords; ++i) {
      const double t = e.angle1 + sweep * i / kChords;
      line.push_back(Vector2d(e.cx, e.cy) + std::cos(t) * major + std::sin(t) * minor);
    }
    add(std::move(line));
  }
  void addPolyline(const DL_PolylineData&) override {
    finish();
    open_ = Open::polyline;
    bulge_ = 0;
  }
  void addVertex(const DL_VertexData& v) override {
    if (open_ != Open::polyline) return;
    const Vector2d p(v.x, v.y);
    if (!line_.empty() && std::abs(bulge_) > 1e-9) add_bulge(line_, line_.back(), p, bulge_);
    line_.push_back(p);
    bulge_ = v.bulge;
  }
  void addSpline(const DL_SplineData& s) override {
    finish();
    open_ = Open::spline;
    spline_ = {};
    spline_.degree = static_cast<int>(std::min(s.degree, 25u));
  }
  void addKnot(const DL_KnotData& k) override { spline_.knots.push_back(k.k); }
  void addControlPoint(const DL_ControlPointData& p) override {
    spline_.control.emplace_back(p.x, p.y);
    spline_.weights.push_back(p.w);
  }
  void addFitPoint(const DL_FitPointData& p) override { spline_.through.emplace_back(p.x, p.y); }
  void endEntity() override {
    if (open_ == Open::spline) finish();
  }
  void endSequence() override { finish(); }
  void endSection() override { finish(); }
  void setVariableInt(const std::string& key, int value, int) override {
    if (key != "$INSUNITS") return;
    static const std::map<int, double> units{{1, 25.4}, {2, 304.8},  {4, 1.0},   {5, 10.0},
                                             {6, 1000}, {9, 0.0254}, {13, 1e-3}, {14, 100}};
    if (const auto it = units.find(value); it != units.end()) unit_mm = it->second;
  }

  // What was begun and not ended is kept.
  void finish() {
    if (open_ == Open::polyline) add(in_world(std::move(line_)));
    if (open_ == Open::spline) add(chords_of(spline_));
    open_ = Open::none;
    line_.clear();
  }

 private:
  enum class Open { none, polyline, spline };

  Block& here() { return blocks[name_]; }
  void add(Polyline line) {
    if (line.size() >= 2) here().lines.push_back(std::move(line));
  }
  // Flat entities may be given as seen from behind (their extrusion points away from the viewer).
  bool mirrored() { return getExtrusion() != nullptr && getExtrusion()->getDirection()[2] < 0; }
  Polyline in_world(Polyline line) {
    if (mirrored()) {
      for (Vector2d& p : line) p.x() = -p.x();
    }
    return line;
  }
  // A bulge is the tangent of a quarter of the arc's angle; positive turns left.
  // By value: the line's own last point moves when the line grows.
  static void add_bulge(Polyline& line, const Vector2d a, const Vector2d b, double bulge) {
    const double angle = 4 * std::atan(bulge);
    const Vector2d chord = b - a, side(-chord.y(), chord.x());
    const Vector2d centre = (a + b) / 2 + side * (1 - bulge * bulge) / (4 * bulge);
    for (int i = 1; i < kChords; ++i)
      line.push_back(centre + Eigen::Rotation2Dd(angle * i / kChords) * (a - centre));
  }

  std::string name_;
  Open open_ = Open::none;
  Polyline line_;
  double bulge_ = 0;
  SplineCurve spline_;
};

using Blocks = std::map<std::string, Block>;

// Puts every block where it is called for.
class Expansion {
 public:
  Expansion(const Blocks& blocks, const std::string& file) : blocks_(blocks), file_(file) {}
  std::vector<Polyline> lines;

  void add(const Block& block, const Affine2d& at, int depth = 0) {
    if (depth > kDeepest || ++calls_ > kMostLines)
      throw core::InputError(file_, "its blocks are nested too deep, or within themselves");
    for (const Polyline& line : block.lines) {
      Polyline moved;
      for (const Vector2d& p : line) moved.push_back(at * p);
      lines.push_back(std::move(moved));
      if (lines.size() > kMostLines) throw core::InputError(file_, "holds more than 10000 lines");
    }
    for (const BlockCall& call : block.calls) {
      const auto it = blocks_.find(call.name);
      if (it == blocks_.end() || call.name.empty()) continue;
      add(it->second, at * call.at * Eigen::Translation2d(-it->second.base), depth + 1);
    }
  }

 private:
  const Blocks& blocks_;
  const std::string& file_;
  std::size_t calls_ = 0;
};

// The drawing; where it is empty, the blocks that stand for it.
std::vector<Polyline> all_lines(const Blocks& blocks, const std::string& file) {
  Expansion all(blocks, file);
  if (const auto drawing = blocks.find(""); drawing != blocks.end())
    all.add(drawing->second, Affine2d::Identity());
  if (!all.lines.empty()) return std::move(all.lines);
  for (const auto& [name, block] : blocks) {
    if (name.empty() || name.starts_with("*Paper") || name.starts_with("*paper")) continue;
    all.add(block, Affine2d::Identity());
  }
  return std::move(all.lines);
}

}  // namespace

DrawnProfile read_dxf_profile(const std::filesystem::path& path) {
  const std::string file = path.string(), text = core::read_file(path, 16u << 20);
  if (text.find(std::string("Binary DXF")) < 32)
    throw core::InputError(file, "is a binary DXF: save it as a text (ASCII) DXF");
  if (text.find("SECTION") == std::string::npos)
    throw core::InputError(file, "not a DXF text file: it has no SECTION");
  if (text.find("EOF") == std::string::npos)
    throw core::InputError(file,
                           "not a whole DXF text file: it does not end with EOF; save or copy it again");
  CurveCollector collector;
  DL_Dxf dxf;
  if (!dxf.in(file, &collector)) throw core::InputError(file, "cannot be read as DXF");
  collector.finish();
  std::vector<Polyline> lines = all_lines(collector.blocks, file);
  for (const Polyline& line : lines) {
    for (const Vector2d& p : line) {
      if (!p.allFinite()) throw core::InputError(file, "holds a coordinate that is not a number");
    }
  }
  DrawnProfile out;
  lines = joined(std::move(lines));
  out.points = the_only(lines, file);
  out.unit_mm = collector.unit_mm;
  return out;
}

}  // namespace interstice::layout
