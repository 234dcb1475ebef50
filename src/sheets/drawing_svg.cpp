#include <fmt/core.h>

#include <cmath>

#include "sheets/drawing.h"

namespace interstice::sheets {
namespace {

std::string escaped(const std::string& text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

std::string number(double x) {
  std::string s = fmt::format("{:.3f}", x);
  s.erase(s.find_last_not_of('0') + 1);
  if (!s.empty() && s.back() == '.') s.pop_back();
  return s == "-0" ? "0" : s;
}

std::string colour(const Ink& ink) {
  return fmt::format("#{:02x}{:02x}{:02x}", static_cast<int>(std::lround(ink.red * 255)),
                     static_cast<int>(std::lround(ink.green * 255)),
                     static_cast<int>(std::lround(ink.blue * 255)));
}

void add_path(std::string& out, const DrawnPath& path) {
  out += "<path";
  if (!path.id.empty()) out += " id=\"" + escaped(path.id) + "\"";
  out += " class=\"" + escaped(path.layer) + "\" d=\"M";
  bool first = true;
  for (const Eigen::Vector2d& p : path.points) {
    if (!first) out += " L";
    out += number(p.x()) + "," + number(p.y());
    first = false;
  }
  if (path.closed) out += " Z";
  out += "\" fill=\"" + (path.filled ? colour(path.fill) : std::string("none")) + "\"";
  if (path.width_mm > 0) {
    out += " stroke=\"" + colour(path.ink) + "\" stroke-width=\"" + number(path.width_mm) + "\"";
    if (path.dashed) out += " stroke-dasharray=\"2 1.2\"";
  }
  out += " stroke-linejoin=\"round\"/>\n";
}

void add_text(std::string& out, const DrawnText& text) {
  const char* anchor = text.anchor == Anchor::left     ? "start"
                       : text.anchor == Anchor::middle ? "middle"
                                                       : "end";
  out += "<text transform=\"translate(" + number(text.at.x()) + " " + number(text.at.y()) + ")";
  if (text.angle_deg != 0) out += " rotate(" + number(-text.angle_deg) + ")";
  out += "\" y=\"" + number(text.anchor == Anchor::middle ? text.height_mm / 2 : 0) + "\" font-size=\"" +
         number(text.height_mm / 0.73) + "\" text-anchor=\"" + anchor + "\" fill=\"" + colour(text.ink) +
         "\"";
  if (text.bold) out += " font-weight=\"bold\"";
  out += ">" + escaped(text.text) + "</text>\n";
}

}  // namespace

std::string write_svg(const Drawing& sheet, const std::string& title) {
  std::string out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
  out += "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + number(sheet.width_mm) + "mm\" height=\"" +
         number(sheet.height_mm) + "mm\" viewBox=\"0 0 " + number(sheet.width_mm) + " " +
         number(sheet.height_mm) + "\">\n<title>" + escaped(title) + "</title>\n";
  for (const DrawnPath& path : sheet.paths) add_path(out, path);
  out += "<g font-family=\"DejaVu Sans, sans-serif\">\n";
  for (const DrawnText& text : sheet.texts) add_text(out, text);
  return out + "</g>\n</svg>\n";
}

}  // namespace interstice::sheets
