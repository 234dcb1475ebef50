// A sheet of lines and text in millimetres, and its writers. Origin top left, x right, y down.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

namespace interstice::sheets {

inline constexpr double kPointsPerMm = 72.0 / 25.4;  // of a PDF page

struct Ink {
  double red = 0, green = 0, blue = 0;
};
inline constexpr Ink kBlack{0, 0, 0};
inline constexpr Ink kGrey{0.55, 0.55, 0.55};
inline constexpr Ink kRed{0.75, 0.1, 0.1};

struct DrawnPath {
  std::vector<Eigen::Vector2d> points;
  bool closed = false;
  double width_mm = 0.2;  // 0: no line, fill only
  Ink ink = kBlack;
  bool filled = false;
  Ink fill{1, 1, 1};
  bool dashed = false;
  std::string layer = "marks";  // "cut" is what a saw follows
  std::string id;               // names an outline in SVG
};

enum class Anchor { left, middle, right };

struct DrawnText {
  Eigen::Vector2d at{0, 0};  // on the base line; for Anchor::middle the middle of the text, also vertically
  std::string text;          // UTF-8
  double height_mm = 3;      // of capitals, about
  double angle_deg = 0;      // counter-clockwise as read
  Anchor anchor = Anchor::left;
  bool bold = false;
  Ink ink = kBlack;
};

struct Drawing {
  double width_mm = 210, height_mm = 297;
  std::vector<DrawnPath> paths;  // in this order
  std::vector<DrawnText> texts;  // over the paths

  void line(const Eigen::Vector2d& a, const Eigen::Vector2d& b, double width_mm = 0.2, Ink ink = kBlack);
  void polygon(const std::vector<Eigen::Vector2d>& points, double width_mm, Ink ink = kBlack);
  void write(const Eigen::Vector2d& at, const std::string& text, double height_mm,
             Anchor anchor = Anchor::left, double angle_deg = 0, bool bold = false, Ink ink = kBlack);
  // A line of the given length with end ticks and its length written under it, to be measured on the print.
  void check_line(const Eigen::Vector2d& from, double length_mm);
};

// Width of a text as the writers will set it, mm.
double text_width_mm(const std::string& text, double height_mm, bool bold = false);

// The documents, 1 unit = 1 mm = 72/25.4 points; same drawing, same bytes. Throw std::runtime_error when the
// graphics library fails.
std::string write_pdf(const std::vector<Drawing>& sheets, const std::string& title);
std::string write_svg(const Drawing& sheet, const std::string& title);
std::string write_png(const Drawing& sheet, double dots_per_mm);
// Layers "cut" and "marks", closed outlines as polylines, y up. For one sheet.
std::string write_dxf(const Drawing& sheet);

}  // namespace interstice::sheets
