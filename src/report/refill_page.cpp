#include "report/refill_page.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "core/counted.h"
#include "core/parallel.h"
#include "geometry/profile.h"
#include "refill/refill_words.h"
#include "report/markup.h"
#include "report/page_assets.h"
#include "report/photo_pen.h"
#include "report/photo_view.h"

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr const char* kStyle =
    "@page{margin:14mm}.hollow{break-inside:avoid;background:var(--sheet);border:1px solid "
    "var(--line);padding:.6rem}"
    ".hollow img{width:100%;height:auto;display:block}.pair{display:flex;gap:.4rem}.pair "
    "figure{flex:1;margin:0}.wide img{width:100%;height:auto}"
    "svg .face{fill:var(--wood);stroke:var(--frame);stroke-width:.5}svg "
    ".slot{fill:var(--tight);stroke:var(--ink);"
    "stroke-width:.3}svg .pit{fill:var(--doubt);stroke:var(--ink);stroke-width:.3}svg text{font:6px "
    "sans-serif;"
    "fill:var(--ink);text-anchor:middle}svg .number{font:700 7px sans-serif}svg .unseen{stroke:var(--unseen);"
    "stroke-width:1.6;stroke-dasharray:1 3;fill:none}svg .axis{stroke:var(--frame);fill:none}"
    "svg .filled{fill:var(--resin)}svg .limit{stroke:var(--tight);stroke-dasharray:3 2}"
    "table{border-collapse:collapse}td,th{border:1px solid var(--line);padding:.3rem .6rem;text-align:left}";

constexpr int kCloseBy_px = 360, kPageQuality = 78;
constexpr double kPhoto_px = 1200;
constexpr double kLeastAlike = 0.5;  // cosine between two lines of sight that show a place alike

struct Ranked {
  std::vector<std::size_t> order, number;  // number by hollow, from 1
};

Ranked ranked(const refill::RefillDocument& document) {
  Ranked r{refill::in_working_order(document), {}};
  r.number.resize(r.order.size());
  for (std::size_t k = 0; k < r.order.size(); ++k) r.number[r.order[k]] = k + 1;
  return r;
}

std::size_t count(const refill::RefillDocument& document, refill::SeamState state) {
  return static_cast<std::size_t>(
      std::count_if(document.seams.begin(), document.seams.end(),
                    [&](const refill::RefillSeam& s) { return s.state == state; }));
}

std::string answer(const refill::RefillDocument& d) {
  const std::size_t hollow = d.hollows.size();
  double low = 0, high = 0;
  for (const refill::Hollow& h : d.hollows) low += h.volume_low_ml, high += h.volume_high_ml;
  std::string out = "<section id=\"answer\"" + std::string(hollow > 0 ? " class=\"not-ready\"" : "") +
                    "><h2>" +
                    (hollow == 0 ? std::string("Every seam that is seen stands filled")
                                 : core::counted(hollow, "place") + " stayed hollow") +
                    "</h2><p class=\"next\">";
  if (hollow > 0) {
    out += volume_html(low, 1) + " to " + volume_html(high, 1) + " in " +
           core::counted(d.pours.size(), "pour") + ".";
  }
  out += "</p><p>" + std::to_string(count(d, refill::SeamState::filled)) + " of " +
         core::counted(d.seams.size(), "seam") + " filled, " +
         std::to_string(count(d, refill::SeamState::unseen)) + " not seen.</p>";
  for (const std::string& w : d.warnings) out += "<p>" + escaped(w) + "</p>";
  return out + "</section>\n";
}

// A photo cut out round a hollow, its rim drawn; empty where it shows none of it.
std::string cut_out(const scan::Scan& scan, const scan::ScannedPhoto& photo, const refill::Hollow& h) {
  const Vector2d at = photo.project(h.at);
  const double reach_mm = std::max(14.0, 0.9 * h.length_mm);
  const double px = reach_mm * photo.lens.fx / std::max(1.0, (photo.centre() - h.at).norm());
  const cv::Rect box = cv::Rect(static_cast<int>(at.x() - px), static_cast<int>(at.y() - px),
                                static_cast<int>(2 * px), static_cast<int>(2 * px)) &
                       cv::Rect(0, 0, photo.info.width, photo.info.height);
  if (box.area() == 0 || photo.info.path.empty()) return "";
  const PhotoView view = view_of(photo, box, kCloseBy_px);
  cv::Mat picture = picture_of(view, scan.store->colour(photo.info));
  std::vector<cv::Point2d> rim;
  for (const Vector3d& p : h.rim) rim.push_back(view.place(p));
  draw_line(picture, rim, true, kWhite, 3);
  draw_line(picture, rim, true, h.kind == refill::HollowKind::slot ? kVermillion : kBlue, 1);
  std::vector<uchar> bytes;
  cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, kPageQuality});
  return jpeg_uri(std::string(bytes.begin(), bytes.end()));
}

struct CloseBy {
  std::string before, after;
};

// After the pour in the photo that shows it best, before it in the one taken from nearest there.
CloseBy close_by(const RefillPageInput& input, const refill::Hollow& h) {
  CloseBy out;
  for (const scan::ScannedPhoto& photo : input.scan.photos) {
    if (photo.info.name != h.best_photo) continue;
    out.after = cut_out(input.scan, photo, h);
    if (input.before == nullptr) continue;
    const Vector3d from = (photo.centre() - h.at).normalized();
    const scan::ScannedPhoto* nearest = nullptr;
    double best = kLeastAlike;
    for (const scan::ScannedPhoto& other : input.before->photos) {
      const double alike = from.dot((other.centre() - h.at).normalized());
      if (alike <= best || other.info.path.empty() || !other.lens.in_frame(other.project(h.at), 0)) continue;
      best = alike, nearest = &other;
    }
    if (nearest != nullptr) out.before = cut_out(*input.before, *nearest, h);
  }
  return out;
}

std::string list(const RefillPageInput& input, const Ranked& ranked) {
  const refill::RefillDocument& d = input.document;
  if (d.hollows.empty()) return "";
  std::vector<CloseBy> pictures(d.hollows.size());
  core::parallel_for(pictures.size(), input.threads,
                     [&](std::size_t i) { pictures[i] = close_by(input, d.hollows[i]); });
  std::string out = "<section id=\"hollows\"><h2>Hollows, largest opening first</h2><div class=\"cards\">\n";
  for (const std::size_t i : ranked.order) {
    const refill::Hollow& h = d.hollows[i];
    const std::string number = std::to_string(ranked.number[i]);
    out += "<div class=\"hollow\" id=\"hollow-" + number + "\">";
    out += "<div class=\"pair\">";
    if (!pictures[i].before.empty())
      out += "<figure><img alt=\"The same place before the pour\" src=\"" + pictures[i].before +
             "\"><figcaption>before</figcaption></figure>";
    if (!pictures[i].after.empty())
      out += "<figure><img alt=\"Hollow " + number + " in " + escaped(h.best_photo) + "\" src=\"" +
             pictures[i].after + "\"><figcaption>after, " + named(h.best_photo) + "</figcaption></figure>";
    out += "</div>";
    out += "<h3><label><input type=\"checkbox\"> " + number + ". " + seam_named(h.tiles) +
           "</label></h3><p>" + prose(refill::hollow_words(h)) + ". Opening " + fixed(h.opening_mm2, 0) +
           " \xC2\xB1 " + fixed(h.opening_u95_mm2, 0) + " mm\xC2\xB2.</p>";
    if (i < d.advice.size()) out += "<p>" + prose(d.advice[i].words) + ".</p>";
    out += "</div>\n";
  }
  return out + "</div></section>\n";
}

std::string path_of(const geometry::Profile& form, const std::vector<Vector3d>& points) {
  std::string out;
  for (const Vector3d& p : points) {
    const Vector2d uv = form.locate(p).uv;
    out += (out.empty() ? "M" : "L") + fixed(uv.x(), 1) + " " + fixed(-uv.y(), 1);
  }
  return out + "Z";
}

std::string map(const RefillPageInput& input, const Ranked& ranked) {
  const refill::RefillDocument& d = input.document;
  if (input.dry.form_profile.size() < 3) return "";
  const geometry::Profile form(input.dry.form_profile);
  const double reach = form.length() + 12;
  std::string out =
      "<section id=\"map\" class=\"wide\"><h2>The bowl unrolled</h2><svg role=\"img\" aria-label=\"Map "
      "of pieces and hollows\" viewBox=\"" +
      fixed(-reach, 0) + " " + fixed(-reach, 0) + " " + fixed(2 * reach, 0) + " " + fixed(2 * reach, 0) +
      "\">";
  for (const seams::FitTile& t : input.dry.tiles) {
    if (t.arris.size() < 3) continue;
    const Vector2d at = form.locate(t.face.origin).uv;
    out += "<path class=\"face\" d=\"" + path_of(form, t.arris) + "\"/><text x=\"" + fixed(at.x(), 1) +
           "\" y=\"" + fixed(-at.y() + 2, 1) + "\">" + in_drawing(t.label) + "</text>";
  }
  for (const std::size_t i : ranked.order) {
    const refill::Hollow& h = d.hollows[i];
    out +=
        "<path class=\"" + std::string(refill::name_of(h.kind)) + "\" d=\"" + path_of(form, h.rim) + "\"/>";
  }
  for (const std::size_t i : ranked.order) {
    const refill::Hollow& h = d.hollows[i];
    out += "<text class=\"number\" x=\"" + fixed(h.map.x() + 5, 1) + "\" y=\"" + fixed(-h.map.y() - 3, 1) +
           "\">" + std::to_string(ranked.number[i]) + "</text>";
  }
  return out +
         "</svg><p class=\"note\">Numbers as in the list. Widths are not to scale on a map.</p></section>\n";
}

std::string next_pour(const refill::RefillDocument& d, const Ranked& ranked) {
  if (d.pours.empty()) return "";
  std::string out = "<section id=\"pour\"><h2>Next pour</h2><ol>";
  for (const refill::RefillPour& p : d.pours) {
    out += "<li><p><strong>" + escaped(refill::lean_words(p)) + "</strong>. Fill, lowest first: ";
    for (std::size_t k = 0; k < p.hollows.size(); ++k) {
      const std::string number = std::to_string(ranked.number[p.hollows[k]]);
      out += (k > 0 ? ", " : "") + ("<a href=\"#hollow-" + number + "\">" + number + "</a>");
    }
    out += ". " + volume_html(p.volume_low_ml, 1) + " to " + volume_html(p.volume_high_ml, 1) + "; mix " +
           volume_html(p.mix_ml, 0) + ".</p>";
    if (!p.tape.empty()) {
      out += "<p>Tape these, flat, and standing up round the upper end where resin goes in: ";
      for (std::size_t k = 0; k < p.tape.size(); ++k) out += (k > 0 ? ", " : "") + seam_named(p.tape[k]);
      out += ".</p>";
    }
    out += "</li>";
  }
  out +=
      "</ol><p class=\"note\">Turn between pours only when the one before has set. Batches under 20 ml are "
      "hard to "
      "weigh right: mix that much at least.</p><ul>";
  for (const std::string& c : d.cautions) out += "<li>" + escaped(c) + "</li>";
  return out + "</ul></section>\n";
}

// Which seams filled, by width: dots above and below a line.
std::string limit_drawing(const refill::RefillDocument& d) {
  double widest = 8;
  std::string dots;
  std::size_t row = 0;
  for (const refill::RefillSeam& s : d.seams) {
    if (!s.width_mm || s.state == refill::SeamState::unseen || *s.width_mm > widest) continue;
    const bool filled = s.state == refill::SeamState::filled;
    const double y = (filled ? 14 : 44) + static_cast<double>(row++ % 5) * 2.4;
    dots += "<circle class=\"" + std::string(filled ? "filled" : "slot") + "\" r=\"2\" cx=\"" +
            fixed(10 + 30 * std::max(0.0, *s.width_mm), 1) + "\" cy=\"" + fixed(y, 1) + "\"/>";
  }
  std::string out =
      "<svg role=\"img\" aria-label=\"Filled and hollow seams by width\" viewBox=\"0 0 270 84\">";
  for (int mm = 0; mm <= 8; ++mm) {
    out += "<text x=\"" + std::to_string(10 + 30 * mm) + "\" y=\"78\">" + std::to_string(mm) + "</text>";
  }
  out +=
      "<path class=\"axis\" d=\"M10 68H250\"/><text x=\"28\" y=\"9\">filled</text><text x=\"28\" "
      "y=\"40\">hollow</text>";
  if (d.fill_limit) {
    const std::string x = fixed(10 + 30 * d.fill_limit->width_mm, 1);
    out += "<path class=\"limit\" d=\"M" + x + " 4V68\"/>";
  }
  return out + dots + "</svg>";
}

std::string learnt(const refill::RefillDocument& d) {
  const refill::Foretold f = refill::foretold(d);
  const auto cell = [](std::size_t n) { return "<td>" + std::to_string(n) + "</td>"; };
  return "<section id=\"learnt\" class=\"wide\"><h2>What this pour tells</h2><p>" +
         prose(refill::limit_words(d)) + ".</p>" + limit_drawing(d) +
         "<p class=\"note\">Seams by their narrowest width before the pour, mm.</p><table><tr><th>before the "
         "pour</th>"
         "<th>found filled</th><th>found hollow</th></tr><tr><td>called clear</td>" +
         cell(f.clear_filled) + cell(f.clear_hollow) +
         "</tr><tr><td>too tight, narrow behind or in doubt</td>" + cell(f.other_filled) +
         cell(f.other_hollow) + "</tr></table></section>\n";
}

// Marked photos stand whole beside the page; in it they need not be larger than a screen.
std::string smaller(const std::string& jpeg) {
  const cv::Mat bytes(1, static_cast<int>(jpeg.size()), CV_8U, const_cast<char*>(jpeg.data()));
  const cv::Mat whole = cv::imdecode(bytes, cv::IMREAD_COLOR);
  const double scale = kPhoto_px / static_cast<double>(std::max(whole.cols, whole.rows));
  if (whole.empty() || scale >= 1) return jpeg;
  cv::Mat small;
  cv::resize(whole, small, cv::Size(), scale, scale, cv::INTER_AREA);
  std::vector<uchar> out;
  cv::imencode(".jpg", small, out, {cv::IMWRITE_JPEG_QUALITY, kPageQuality});
  return {out.begin(), out.end()};
}

std::string photos(const RefillPageInput& input) {
  if (input.marked.empty()) return "";
  std::string out = "<section id=\"photos\" class=\"wide\"><h2>Photos</h2>";
  for (const MarkedPhoto& m : input.marked) {
    out += "<figure><img alt=\"" + escaped(m.photo) + " with hollows ringed\" src=\"" +
           jpeg_uri(smaller(m.jpeg)) + "\"><figcaption>" + named(m.photo) + "</figcaption></figure>\n";
  }
  return out + "</section>\n";
}

std::string quality(const refill::RefillDocument& d) {
  const refill::RefillQuality& q = d.quality;
  return "<section id=\"quality\"><h2>Measured how well</h2><p>" + std::to_string(q.photos_used) + " of " +
         core::counted(static_cast<std::size_t>(q.photos_given), "photo") + "; " +
         std::to_string(q.pieces_agreeing) + " of " + core::counted(q.pieces, "piece") +
         " found where they were before the pour, to " + fixed(q.registration_mm, 2) + " mm.</p></section>\n";
}

}  // namespace

std::string refill_page(const RefillPageInput& input) {
  const refill::RefillDocument& d = input.document;
  const Ranked order = ranked(d);
  const std::string name = d.name.empty() ? "Shell" : shortened(d.name, 80);
  std::string out =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
      "content=\"width=device-width, initial-scale=1\">\n<meta http-equiv=\"Content-Security-Policy\" "
      "content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n<meta "
      "name=\"color-scheme\" "
      "content=\"light dark\">\n<title>" +
      escaped(name) + ": after the pour</title>\n<style>" + std::string(page_css()) + kStyle +
      "</style>\n</head>\n<body>\n<header class=\"top\"><h1>" + named(name) +
      ", after the pour</h1></header>\n<nav aria-label=\"On this page\"><ul>";
  for (const auto& [id, text] : {std::pair{"hollows", "Hollows"}, std::pair{"map", "Unrolled"},
                                 std::pair{"pour", "Next pour"}, std::pair{"learnt", "What it tells"},
                                 std::pair{"photos", "Photos"}, std::pair{"quality", "Measured how well"}})
    out += "<li><a href=\"#" + std::string(id) + "\">" + text + "</a></li>";
  out += "</ul></nav>\n<main>\n" + answer(d) + list(input, order) + map(input, order) + next_pour(d, order) +
         learnt(d) + photos(input) + quality(d);
  return out +
         "</main>\n<footer><p>Made from photos: what no photo shows is not known. The data sheets of resin "
         "and tools and the local rules come first.</p></footer>\n</body>\n</html>\n";
}

}  // namespace interstice::report
