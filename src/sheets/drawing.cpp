#include "sheets/drawing.h"

#include <fmt/core.h>

#include <cairo-pdf.h>
#include <cairo.h>

#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

namespace interstice::sheets {

using Eigen::Vector2d;

void Drawing::line(const Vector2d& a, const Vector2d& b, double width_mm_, Ink ink) {
  DrawnPath path;
  path.points = {a, b};
  path.width_mm = width_mm_;
  path.ink = ink;
  paths.push_back(path);
}

void Drawing::polygon(const std::vector<Vector2d>& points, double width_mm_, Ink ink) {
  DrawnPath path;
  path.points = points;
  path.closed = true;
  path.width_mm = width_mm_;
  path.ink = ink;
  paths.push_back(path);
}

void Drawing::write(const Vector2d& at, const std::string& text, double text_height_mm, Anchor anchor,
                    double angle_deg, bool bold, Ink ink) {
  texts.push_back({at, text, text_height_mm, angle_deg, anchor, bold, ink});
}

void Drawing::check_line(const Vector2d& from, double length_mm) {
  const Vector2d to = from + Vector2d(length_mm, 0);
  line(from, to, 0.25);
  line(from - Vector2d(0, 2), from + Vector2d(0, 2), 0.25);
  line(to - Vector2d(0, 2), to + Vector2d(0, 2), 0.25);
  write(from + Vector2d(1.5, 4.2),
        fmt::format("check line {:g} mm, tick to tick: measure it on the print before cutting", length_mm),
        2.0);
}

namespace {

constexpr double kCapital = 0.73;  // height of capitals over the font's size, DejaVu Sans

struct Free {
  void operator()(cairo_surface_t* s) const { cairo_surface_destroy(s); }
  void operator()(cairo_t* c) const { cairo_destroy(c); }
};
using Surface = std::unique_ptr<cairo_surface_t, Free>;
using Context = std::unique_ptr<cairo_t, Free>;

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

void require(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS) throw std::runtime_error(cairo_status_to_string(status));
}

void choose_font(cairo_t* c, double height_mm, bool bold) {
  cairo_select_font_face(c, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(c, height_mm / kCapital);
}

void paint_path(cairo_t* c, const DrawnPath& path) {
  if (path.points.empty()) return;
  cairo_new_path(c);
  for (const Vector2d& p : path.points) cairo_line_to(c, p.x(), p.y());
  if (path.closed) cairo_close_path(c);
  if (path.filled) {
    cairo_set_source_rgb(c, path.fill.red, path.fill.green, path.fill.blue);
    cairo_fill_preserve(c);
  }
  if (path.width_mm > 0) {
    const double dash[2] = {2.0, 1.2};
    cairo_set_dash(c, dash, path.dashed ? 2 : 0, 0);
    cairo_set_source_rgb(c, path.ink.red, path.ink.green, path.ink.blue);
    cairo_set_line_width(c, path.width_mm);
    cairo_stroke(c);
  }
  cairo_new_path(c);
}

void paint_text(cairo_t* c, const DrawnText& text) {
  cairo_save(c);
  choose_font(c, text.height_mm, text.bold);
  cairo_text_extents_t extents;
  cairo_text_extents(c, text.text.c_str(), &extents);
  cairo_translate(c, text.at.x(), text.at.y());
  cairo_rotate(c, -text.angle_deg * std::numbers::pi / 180);
  const double share = text.anchor == Anchor::left ? 0 : text.anchor == Anchor::middle ? 0.5 : 1;
  cairo_move_to(c, -share * extents.x_advance, text.anchor == Anchor::middle ? text.height_mm / 2 : 0);
  cairo_set_source_rgb(c, text.ink.red, text.ink.green, text.ink.blue);
  cairo_show_text(c, text.text.c_str());
  cairo_restore(c);
}

void paint(cairo_t* c, const Drawing& sheet) {
  cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
  cairo_set_line_cap(c, CAIRO_LINE_CAP_BUTT);
  for (const DrawnPath& path : sheet.paths) paint_path(c, path);
  for (const DrawnText& text : sheet.texts) paint_text(c, text);
  require(cairo_status(c));
}

}  // namespace

double text_width_mm(const std::string& text, double height_mm, bool bold) {
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1));
  const Context c(cairo_create(surface.get()));
  // Measured large: on a pixel grid small text is rounded to whole dots.
  choose_font(c.get(), 100, bold);
  cairo_text_extents_t extents;
  cairo_text_extents(c.get(), text.c_str(), &extents);
  return extents.x_advance * height_mm / 100;
}

std::string write_pdf(const std::vector<Drawing>& sheets, const std::string& title) {
  std::string bytes;
  const Drawing first = sheets.empty() ? Drawing() : sheets.front();
  const Surface surface(cairo_pdf_surface_create_for_stream(append, &bytes, first.width_mm * kPointsPerMm,
                                                            first.height_mm * kPointsPerMm));
  require(cairo_surface_status(surface.get()));
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, title.c_str());
  // The time of making would make every run's bytes different.
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "1970-01-01T00:00:00Z");
  {
    const Context c(cairo_create(surface.get()));
    for (const Drawing& sheet : sheets) {
      cairo_pdf_surface_set_size(surface.get(), sheet.width_mm * kPointsPerMm,
                                 sheet.height_mm * kPointsPerMm);
      cairo_save(c.get());
      cairo_scale(c.get(), kPointsPerMm, kPointsPerMm);
      paint(c.get(), sheet);
      cairo_restore(c.get());
      cairo_show_page(c.get());
    }
  }
  cairo_surface_finish(surface.get());
  require(cairo_surface_status(surface.get()));
  return bytes;
}

std::string write_png(const Drawing& sheet, double dots_per_mm) {
  const int width = static_cast<int>(std::lround(sheet.width_mm * dots_per_mm));
  const int height = static_cast<int>(std::lround(sheet.height_mm * dots_per_mm));
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height));
  require(cairo_surface_status(surface.get()));
  {
    const Context c(cairo_create(surface.get()));
    cairo_set_source_rgb(c.get(), 1, 1, 1);
    cairo_paint(c.get());
    cairo_scale(c.get(), dots_per_mm, dots_per_mm);
    paint(c.get(), sheet);
  }
  std::string bytes;
  require(cairo_surface_write_to_png_stream(surface.get(), append, &bytes));
  return bytes;
}

}  // namespace interstice::sheets
