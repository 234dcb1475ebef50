#include <Eigen/Geometry>
#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <numbers>
#include <pugixml.hpp>

#include "core/errors.h"
#include "core/files.h"
#include "layout/form_lines.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Affine = Eigen::Affine2d;

// Numbers of an SVG attribute: separated by spaces, commas, or a sign.
class NumberScan {
 public:
  NumberScan(const char* text, const std::string& file) : at_(text), file_(file) {}

  bool at_end() {
    skip();
    return *at_ == 0;
  }
  bool at_letter() {
    skip();
    return std::isalpha(static_cast<unsigned char>(*at_)) != 0 && *at_ != 'e' && *at_ != 'E';
  }
  char letter() { return *at_++; }
  double number() {
    skip();
    char* end = nullptr;
    const double value = std::strtod(at_, &end);
    if (end == at_ || !std::isfinite(value) || std::abs(value) > 1e7) {
      throw core::InputError(
          file_, "a number was expected at \"" + core::one_line(std::string(at_).substr(0, 20), 30) + "\"");
    }
    at_ = end;
    return value;
  }
  double flag() {  // of an arc: may stand without a space after it
    skip();
    if (*at_ != '0' && *at_ != '1') return number();
    return *at_++ == '1' ? 1 : 0;
  }
  Vector2d point() {
    const double x = number();
    return {x, number()};
  }

 private:
  void skip() {
    while (*at_ == ',' || std::isspace(static_cast<unsigned char>(*at_)) != 0) ++at_;
  }
  const char* at_;
  const std::string& file_;
};

void add_arc(Polyline& line, const Vector2d& from, Vector2d radii, double tilt, bool large, bool sweep,
             const Vector2d& to) {
  // End-point to centre form: SVG 1.1, appendix F.6.5.
  radii = radii.cwiseAbs();
  if (radii.minCoeff() < 1e-9 || (from - to).norm() < 1e-12) {
    line.push_back(to);
    return;
  }
  const Eigen::Rotation2Dd turn(tilt);
  const Vector2d half = turn.inverse() * ((from - to) / 2);
  const double grow = half.cwiseQuotient(radii).squaredNorm();
  if (grow > 1) radii *= std::sqrt(grow);
  const double a = radii.x() * radii.x() * half.y() * half.y() + radii.y() * radii.y() * half.x() * half.x();
  const double b = std::max(0.0, radii.x() * radii.x() * radii.y() * radii.y() - a) / a;
  const Vector2d c = (large == sweep ? -1 : 1) * std::sqrt(b) *
                     Vector2d(radii.x() * half.y() / radii.y(), -radii.y() * half.x() / radii.x());
  const Vector2d centre = turn * c + (from + to) / 2;
  const auto angle = [&](const Vector2d& p) { return std::atan2(p.y() / radii.y(), p.x() / radii.x()); };
  const double start = angle(half - c);
  double sweep_angle = angle(-half - c) - start;
  if (sweep && sweep_angle < 0) sweep_angle += 2 * std::numbers::pi;
  if (!sweep && sweep_angle > 0) sweep_angle -= 2 * std::numbers::pi;
  for (int i = 1; i < 2 * kChords; ++i) {
    const double t = start + sweep_angle * i / (2 * kChords);
    line.push_back(centre + turn * Vector2d(radii.x() * std::cos(t), radii.y() * std::sin(t)));
  }
  line.push_back(to);
}

// The path language's commands (SVG 1.1, chapter 8), curves as chords.
class PathReader {
 public:
  explicit PathReader(const std::string& file) : file_(file) {}

  std::vector<Polyline> read(const char* text) {
    NumberScan scan(text, file_);
    char command = 0;
    while (!scan.at_end()) {
      if (scan.at_letter()) {
        command = scan.letter();
      } else if (command == 0) {
        throw core::InputError(file_, "a path has numbers without a command, or does not begin with M");
      }
      step(command, scan);
      if (command == 'M') command = 'L';
      if (command == 'm') command = 'l';
      if (command == 'Z' || command == 'z') command = 0;  // takes no numbers, so none may follow it
    }
    return lines_;
  }

 private:
  void step(char command, NumberScan& scan) {
    const bool relative = std::islower(static_cast<unsigned char>(command)) != 0;
    const Vector2d base = relative ? here_ : Vector2d(0, 0);
    const char kind = static_cast<char>(std::toupper(static_cast<unsigned char>(command)));
    Vector2d handle = here_;
    switch (kind) {
      case 'M':
        here_ = start_ = base + scan.point();
        lines_.push_back({here_});
        break;
      case 'L':
        to(base + scan.point());
        break;
      case 'H':
        to({base.x() + scan.number(), here_.y()});
        break;
      case 'V':
        to({here_.x(), base.y() + scan.number()});
        break;
      case 'Z':
        to(start_);
        break;
      case 'C': {
        const Vector2d a = base + scan.point();
        handle = base + scan.point();
        cubic(a, handle, base + scan.point());
        break;
      }
      case 'S': {
        const Vector2d a = 2 * here_ - cubic_handle_;
        handle = base + scan.point();
        cubic(a, handle, base + scan.point());
        break;
      }
      case 'Q': {
        const Vector2d a = base + scan.point();
        quadratic(a, base + scan.point());
        break;
      }
      case 'T':
        quadratic(2 * here_ - quadratic_handle_, base + scan.point());
        break;
      case 'A': {
        const Vector2d radii = scan.point();
        const double tilt = scan.number() * std::numbers::pi / 180;
        const bool large = scan.flag() != 0, sweep = scan.flag() != 0;
        const Vector2d end = base + scan.point();
        require_line();
        add_arc(lines_.back(), here_, radii, tilt, large, sweep, end);
        here_ = end;
        break;
      }
      default:
        throw core::InputError(file_, std::string("the path command \"") + command + "\" is not known");
    }
    cubic_handle_ = kind == 'C' || kind == 'S' ? handle : here_;
    if (kind != 'Q' && kind != 'T') quadratic_handle_ = here_;
  }

  void require_line() {
    if (lines_.empty()) throw core::InputError(file_, "a path must begin with M");
  }
  void to(const Vector2d& p) {
    require_line();
    lines_.back().push_back(p);
    here_ = p;
  }
  void cubic(const Vector2d& a, const Vector2d& b, const Vector2d& end) {
    require_line();
    const Vector2d p = here_;
    for (int i = 1; i <= kChords; ++i) {
      const double t = static_cast<double>(i) / kChords, s = 1 - t;
      lines_.back().push_back(s * s * s * p + 3 * s * s * t * a + 3 * s * t * t * b + t * t * t * end);
    }
    here_ = end;
  }
  void quadratic(const Vector2d& a, const Vector2d& end) {
    const Vector2d p = here_;
    cubic(p + 2.0 / 3 * (a - p), end + 2.0 / 3 * (a - end), end);
    quadratic_handle_ = a;
  }

  const std::string& file_;
  std::vector<Polyline> lines_;
  Vector2d here_{0, 0}, start_{0, 0}, cubic_handle_{0, 0}, quadratic_handle_{0, 0};
};

Affine read_transform(const char* text, const std::string& file) {
  Affine all = Affine::Identity();
  std::string rest = text;
  while (true) {
    const std::size_t open = rest.find('('), close = rest.find(')');
    if (open == std::string::npos || close == std::string::npos || close < open) return all;
    std::string name = rest.substr(0, open);
    std::erase_if(name, [](char c) { return std::isalpha(static_cast<unsigned char>(c)) == 0; });
    const std::string inside = rest.substr(open + 1, close - open - 1);
    NumberScan scan(inside.c_str(), file);
    std::vector<double> v;
    while (!scan.at_end()) v.push_back(scan.number());
    v.resize(6, name == "scale" && v.size() == 1 ? v[0] : 0.0);
    Affine t = Affine::Identity();
    if (name == "translate") t.translate(Vector2d(v[0], v[1]));
    if (name == "scale") t.scale(Vector2d(v[0], v[1]));
    if (name == "rotate") {
      t.translate(Vector2d(v[1], v[2]))
          .rotate(v[0] * std::numbers::pi / 180)
          .translate(-Vector2d(v[1], v[2]));
    }
    if (name == "matrix") t.matrix() << v[0], v[2], v[4], v[1], v[3], v[5], 0, 0, 1;
    all = all * t;
    rest = rest.substr(close + 1);
  }
}

void collect(const pugi::xml_node& node, Affine transform, const std::string& file,
             std::vector<Polyline>& found, int depth) {
  if (depth > 200) throw core::InputError(file, "elements are nested more than 200 deep");
  const std::string name = node.name();
  if (name == "defs" || name == "clipPath" || name == "symbol" || name == "marker" || name == "pattern")
    return;
  if (const auto t = node.attribute("transform")) transform = transform * read_transform(t.value(), file);
  std::vector<Polyline> lines;
  if (name == "polyline" || name == "polygon") {
    NumberScan scan(node.attribute("points").value(), file);
    Polyline line;
    while (!scan.at_end()) line.push_back(scan.point());
    lines.push_back(line);
  } else if (name == "line") {
    const auto number = [&](const char* key) { return node.attribute(key).as_double(); };
    lines.push_back({{number("x1"), number("y1")}, {number("x2"), number("y2")}});
  } else if (name == "path") {
    lines = PathReader(file).read(node.attribute("d").value());
  }
  for (Polyline& line : lines) {
    for (Vector2d& p : line) p = transform * p;
    if (line.size() >= 2) found.push_back(std::move(line));
  }
  for (const pugi::xml_node& child : node.children()) collect(child, transform, file, found, depth + 1);
}

std::optional<double> unit_of(const std::string& length) {
  const auto ends = [&](const char* unit) {
    const std::size_t n = std::strlen(unit);
    return length.size() > n && length.compare(length.size() - n, n, unit) == 0;
  };
  if (ends("mm")) return 1.0;
  if (ends("cm")) return 10.0;
  if (ends("in")) return 25.4;
  if (ends("pt")) return 25.4 / 72;
  if (ends("px")) return 25.4 / 96;
  return std::nullopt;
}

}  // namespace

DrawnProfile read_svg_profile(const std::string& text, const std::string& file) {
  pugi::xml_document document;
  const pugi::xml_parse_result parsed = document.load_buffer(text.data(), text.size());
  if (!parsed)
    throw core::InputError(file, std::string("not readable as SVG: ") + parsed.description() + ", at byte " +
                                     std::to_string(parsed.offset));
  const pugi::xml_node svg = document.child("svg");
  if (!svg) throw core::InputError(file, "holds no svg element");
  std::vector<Polyline> found;
  collect(svg, Affine::Identity(), file, found, 0);
  constexpr std::size_t kMostLines = 10000;  // joined by comparing ends with ends
  if (found.size() > kMostLines) throw core::InputError(file, "holds more than 10000 lines");
  DrawnProfile out;
  found = joined(std::move(found));
  for (const Vector2d& p : the_only(found, file)) {
    if (!p.allFinite()) throw core::InputError(file, "holds a coordinate that is not a number");
    out.points.emplace_back(p.x(), -p.y());
  }
  const std::string width = svg.attribute("width").value();
  if (const auto unit = unit_of(width)) {
    double scale = *unit;
    if (const auto box = svg.attribute("viewBox")) {
      NumberScan scan(box.value(), file);
      scan.number(), scan.number();
      const double units_across = scan.number();
      if (units_across > 0) scale = *unit * std::strtod(width.c_str(), nullptr) / units_across;
    } else {
      scale = 25.4 / 96;  // without a view box coordinates are CSS pixels
    }
    out.unit_mm = scale;
  }
  return out;
}

}  // namespace interstice::layout
