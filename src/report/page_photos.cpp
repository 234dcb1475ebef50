// The maker's photos with the flagged seams drawn over them.
#include <algorithm>
#include <atomic>
#include <cmath>
#include <iterator>
#include <limits>
#include <opencv2/imgcodecs.hpp>

#include "core/parallel.h"
#include "report/bench_list.h"
#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {

using Eigen::Vector3d;

namespace {

// Bytes of JPEG the page may hold; a third more once written as text. With the rest of the page this stays
// below what mail and messengers carry (common practice, no source: about 20 MB).
constexpr double kBudgetBytes = 6.5e6;
constexpr double kAroundMm = 26;  // of the narrowest place to each side, at least

struct Sizes {
  int close_px, whole_px, quality;
};
constexpr Sizes kSizes[] = {
    {720, 1600, 84}, {560, 1300, 80}, {420, 1000, 76}, {300, 800, 72}, {220, 640, 68}};

const seams::SeamSample* narrowest_of(const seams::FitSeam& seam) {
  const bool behind = seams::deciding_throat(seam).has_value();
  const auto width = [&](const seams::SeamSample& s) {
    return behind && s.throat ? s.throat->mm : s.width_mm;
  };
  const auto it = std::min_element(
      seam.samples.begin(), seam.samples.end(),
      [&](const seams::SeamSample& a, const seams::SeamSample& b) { return width(a) < width(b); });
  return it == seam.samples.end() ? nullptr : &*it;
}

// Where the width that the verdict rests on is below the smallest fill.
bool narrow_at(const seams::FitSeam& seam, const seams::SeamSample& s, double smallest_fill_mm) {
  const bool behind = s.throat && seams::deciding_throat(seam);
  return (behind ? s.throat->mm : s.width_mm) < smallest_fill_mm;
}

// A square round the narrowest place that also takes in the tight stretch.
cv::Rect close_crop(const scan::ScannedPhoto& photo, const seams::FitSeam& seam, double smallest_fill_mm) {
  const seams::SeamSample* narrowest = narrowest_of(seam);
  const Vector3d middle = narrowest ? Vector3d((narrowest->a + narrowest->b) / 2) : seam.at;
  const Eigen::Vector2d centre = photo.project(middle);
  const double px_per_mm = photo.lens.fx / std::max(1.0, (photo.camera_T_bowl * middle).z());
  double half = kAroundMm * px_per_mm;
  for (const seams::SeamSample& s : seam.samples) {
    if (!narrow_at(seam, s, smallest_fill_mm)) continue;
    const Eigen::Vector2d q = photo.project((s.a + s.b) / 2);
    half = std::max(
        half, std::min(2.5 * kAroundMm * px_per_mm, (q - centre).lpNorm<Eigen::Infinity>() + 5 * px_per_mm));
  }
  const int side = std::min({static_cast<int>(2 * half), photo.info.width, photo.info.height});
  const int x = std::clamp(static_cast<int>(centre.x() - side / 2.0), 0, photo.info.width - side);
  const int y = std::clamp(static_cast<int>(centre.y() - side / 2.0), 0, photo.info.height - side);
  return {x, y, std::max(1, side), std::max(1, side)};
}

std::string jpeg_of(const cv::Mat& picture, int quality) {
  std::vector<uchar> bytes;
  cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, quality, cv::IMWRITE_JPEG_OPTIMIZE, 1});
  return {bytes.begin(), bytes.end()};
}

// None when they come to more than `most_bytes`: then what is left of them is not made.
std::optional<PagePhotos> pictures_at(const PageInput& input,
                                      const std::vector<const scan::ScannedPhoto*>& photos,
                                      const std::vector<std::vector<std::size_t>>& seams, const Sizes& sizes,
                                      double most_bytes) {
  std::vector<PagePhotos> each(photos.size());
  std::atomic<std::size_t> bytes = 0;
  const auto too_many = [&] { return static_cast<double>(bytes) > most_bytes; };
  core::parallel_for(photos.size(), input.threads, [&](std::size_t n) {
    if (too_many()) return;
    const cv::Mat whole = input.scan.store->colour(photos[n]->info);
    const auto taken = [&](const cv::Rect& crop, int longest_px) {
      const PhotoView view = view_of(*photos[n], crop, longest_px);
      PagePicture picture{view, jpeg_of(picture_of(view, whole), sizes.quality)};
      bytes += picture.jpeg.size();
      return picture;
    };
    each[n].whole.push_back({taken(form_in_photo(*photos[n], input.fit), sizes.whole_px), seams[n]});
    for (const std::size_t i : seams[n]) {
      each[n].close.emplace(
          i, taken(close_crop(*photos[n], input.fit.seams[i], input.fit.smallest_fill_mm), sizes.close_px));
    }
  });
  if (too_many()) return std::nullopt;
  PagePhotos out;
  for (PagePhotos& one : each) {
    out.whole.push_back(std::move(one.whole.front()));
    out.close.merge(one.close);
  }
  return out;
}

// Points of a line in the shown picture, those nearer than two pixels to the one before left out.
std::string path_of(const PhotoView& view, const std::vector<Vector3d>& line, bool closed) {
  std::string out;
  cv::Point2d last(-1e9, -1e9);
  for (const Vector3d& p : line) {
    const cv::Point2d q = view.place(p);
    if (!(std::abs(q.x) < 1e5 && std::abs(q.y) < 1e5)) return "";
    if (std::hypot(q.x - last.x, q.y - last.y) < 2 && !out.empty()) continue;
    out += (out.empty() ? "M" : "L") + fixed(q.x, 1) + " " + fixed(q.y, 1);
    last = q;
  }
  return closed ? out + "Z" : out;
}

std::string text_at(const cv::Point2d& at, double size, const char* kind, const std::string& text,
                    const cv::Size& frame) {
  const double x = std::clamp(at.x, 1.5 * size, std::max(1.5 * size, frame.width - 1.5 * size));
  const double y = std::clamp(at.y, 1.2 * size, std::max(1.2 * size, frame.height - 0.6 * size));
  return "<text class=\"" + std::string(kind) + "\" x=\"" + fixed(x, 1) + "\" y=\"" + fixed(y, 1) +
         "\" font-size=\"" + fixed(size, 1) + "\">" + text + "</text>";
}

std::string piece_marks(const seams::FitDocument& fit, const PhotoView& view, const std::string& label,
                        double size) {
  const seams::FitTile* tile = tile_of(fit, label);
  if (!tile || tile->arris.empty()) return "";
  const std::string d = path_of(view, tile->arris, true);
  if (d.empty()) return "";
  Vector3d middle = Vector3d::Zero();
  for (const Vector3d& p : tile->arris) middle += p / static_cast<double>(tile->arris.size());
  return "<path class=\"casing\" d=\"" + d + "\"/><path class=\"outline\" d=\"" + d + "\"/>" +
         text_at(view.place(middle), size, "piece-name", in_drawing(label), view.shown());
}

// A ring round the narrowest place; where it lies behind the mouth, a square on its corner.
std::string place_mark(const seams::FitSeam& seam, const cv::Point2d& at, double size) {
  const std::string ring = "class=\"ring " + verdict_class(seam.verdict) + "\"", casing = "class=\"casing\"";
  const double r = 0.9 * size;
  std::string shape;
  if (seams::deciding_throat(seam)) {
    const double d = 1.25 * r;
    shape = "d=\"M" + fixed(at.x, 1) + " " + fixed(at.y - d, 1) + "L" + fixed(at.x + d, 1) + " " +
            fixed(at.y, 1) + "L" + fixed(at.x, 1) + " " + fixed(at.y + d, 1) + "L" + fixed(at.x - d, 1) +
            " " + fixed(at.y, 1) + "Z\"/>";
    return "<path " + casing + " " + shape + "<path " + ring + " " + shape;
  }
  shape = "cx=\"" + fixed(at.x, 1) + "\" cy=\"" + fixed(at.y, 1) + "\" r=\"" + fixed(r, 1) + "\"/>";
  return "<circle " + casing + " " + shape + "<circle " + ring + " " + shape;
}

std::string seam_marks(const seams::FitDocument& fit, const seams::FitSeam& seam, const PhotoView& view,
                       double size) {
  std::vector<Vector3d> tight, all;
  for (const seams::SeamSample& s : seam.samples) {
    all.push_back((s.a + s.b) / 2);
    if (narrow_at(seam, s, fit.smallest_fill_mm)) tight.push_back(all.back());
  }
  std::string out;
  const std::string d = path_of(view, tight.size() > 1 ? tight : all, false);
  if (!d.empty())
    out += "<path class=\"casing wide\" d=\"" + d + "\"/><path class=\"stretch " +
           verdict_class(seam.verdict) + "\" d=\"" + d + "\"/>";
  const seams::SeamSample* n = narrowest_of(seam);
  if (!n) return out;
  const cv::Point2d a = view.place(n->a), b = view.place(n->b);
  const cv::Point2d middle = (a + b) / 2;
  if (!(std::abs(middle.x) < 1e5 && std::abs(middle.y) < 1e5)) return out;
  out += "<path class=\"gap\" d=\"M" + fixed(a.x, 1) + " " + fixed(a.y, 1) + "L" + fixed(b.x, 1) + " " +
         fixed(b.y, 1) + "\"/>" + place_mark(seam, middle, size);
  const core::Width width = seams::deciding_throat(seam).value_or(seams::mouth_of(seam));
  const std::string words = seam.narrowest_mm ? length_in_drawing(width.mm, 1) + " \xC2\xB1 " +
                                                    length_in_drawing(core::expanded_mm(width.u_mm), 1)
                                              : std::string("unseen");
  return out + text_at({middle.x, middle.y - 1.4 * size}, size, "width-name", words, view.shown());
}

std::string svg_open(const PagePicture& picture, const std::string& label, const char* kind) {
  const cv::Size size = picture.view.shown();
  const std::string w = std::to_string(size.width), h = std::to_string(size.height);
  return "<svg class=\"" + std::string(kind) + "\" viewBox=\"0 0 " + w + " " + h +
         "\" role=\"img\" aria-label=\"" + label + "\"><image width=\"" + w + "\" height=\"" + h +
         "\" href=\"" + jpeg_uri(picture.jpeg) + "\"/><g class=\"marks\" aria-hidden=\"true\">";
}

std::string gone_words(const std::vector<std::string>& gone) {
  if (gone.empty()) return "";
  std::string names;
  for (const std::string& name : gone) names += (names.empty() ? "" : ", ") + named(name);
  return "<p class=\"gone\">Not found when this page was made, so not shown: " + names +
         ". Make the page again with --photos and the folder they are in now.</p>";
}

}  // namespace

PagePhotos take_photos(const PageInput& input) {
  std::vector<const scan::ScannedPhoto*> photos;
  std::vector<std::vector<std::size_t>> seams;
  std::vector<std::string> gone;
  for (const scan::ScannedPhoto& photo : input.scan.photos) {
    std::vector<std::size_t> shown;
    for (const std::size_t i : seams_needing_work(input.fit)) {
      if (input.fit.seams[i].best_photo == photo.info.name) shown.push_back(i);
    }
    if (shown.empty()) continue;
    if (photo.info.path.empty()) {
      gone.push_back(photo.info.name);
      continue;
    }
    photos.push_back(&photo);
    seams.push_back(shown);
  }
  std::optional<PagePhotos> made;
  for (std::size_t k = 0; !made; ++k) {
    const bool last = k + 1 == std::size(kSizes);
    made = pictures_at(input, photos, seams, kSizes[k],
                       last ? std::numeric_limits<double>::infinity() : kBudgetBytes);
  }
  PagePhotos out = std::move(*made);
  out.gone = std::move(gone);
  return out;
}

std::string close_up(const seams::FitDocument& fit, std::size_t index, const PagePicture& picture) {
  const seams::FitSeam& seam = fit.seams[index];
  const double size = picture.view.shown().width / 20.0;
  std::string label = "Photo of the seam " + seam_spoken(seam.tiles) + ", " + seams::name_of(seam.verdict);
  if (const auto throat = seams::deciding_throat(seam)) {
    label += ", " + fixed(throat->mm, 2) + " mm wide behind the mouth at the marked place";
  } else if (seam.narrowest_mm) {
    label += ", " + fixed(*seam.narrowest_mm, 2) + " mm at the ringed place";
  }
  return svg_open(picture, label, "photo close") + piece_marks(fit, picture.view, seam.tiles[0], size) +
         piece_marks(fit, picture.view, seam.tiles[1], size) + seam_marks(fit, seam, picture.view, size) +
         "</g></svg>";
}

std::string photos_part(const PageInput& input, const PagePhotos& photos) {
  std::string out =
      "<section id=\"photos\" aria-labelledby=\"photos-head\"><h2 id=\"photos-head\">Your photos</h2>";
  out += gone_words(photos.gone);
  if (photos.whole.empty()) {
    if (photos.gone.empty()) out += "<p>No photo has a flagged seam to show.</p>";
    return out + "</section>\n";
  }
  out +=
      "<p>Those that show a flagged seam best, cut to the form. Tap one to enlarge it. "
      "<button type=\"button\" id=\"marks\" class=\"plain\" aria-pressed=\"true\">Marks on the "
      "photos</button></p><div class=\"shots\">";
  for (const PagePhotos::Whole& whole : photos.whole) {
    const std::string& name = whole.picture.view.photo->info.name;
    const cv::Size shown = whole.picture.view.shown();
    const double size = std::max(shown.width, shown.height) / 32.0;
    std::vector<std::string> pieces;
    std::string seams, spoken;
    for (const std::size_t i : whole.seams) {
      for (const std::string& t : input.fit.seams[i].tiles) {
        if (std::find(pieces.begin(), pieces.end(), t) == pieces.end()) pieces.push_back(t);
      }
      seams += (seams.empty() ? "" : ", ") + seam_link(input.fit, i);
      spoken += (spoken.empty() ? " with the seams " : ", ") + seam_spoken(input.fit.seams[i].tiles);
    }
    out += "<figure class=\"shot\"><button type=\"button\" class=\"open\" data-shot=\"" + escaped(name) +
           "\">" + svg_open(whole.picture, "Photo " + escaped(name) + spoken, "photo whole");
    for (const std::string& piece : pieces)
      out += piece_marks(input.fit, whole.picture.view, piece, 0.8 * size);
    for (const std::size_t i : whole.seams)
      out += seam_marks(input.fit, input.fit.seams[i], whole.picture.view, size);
    out += "</g></svg></button><figcaption>" + named(name) + ": " + seams + "</figcaption></figure>\n";
  }
  return out + "</div></section>\n";
}

}  // namespace interstice::report
