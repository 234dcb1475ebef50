#include "refill/band_views.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "core/parallel.h"
#include "edges/occlusion.h"
#include "geometry/polygon.h"

namespace interstice::refill {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::Vector3f;

namespace {

constexpr double kLeastCosine = 0.34;  // 20 degrees off grazing
constexpr double kSpot_mm = 0.2, kLeastSpot_px = 0.8;
constexpr float kBurnt = 251;                        // code values from here on say only "bright"
constexpr double kMargin_mm = 0.3, kLevel_mm = 0.3;  // of outlines that hide; of faces that hide nothing
constexpr double kInside_mm = 2.0;  // of the edge: beyond the broken corner and what the spot mixes

const std::array<float, 4097> kCodes = [] {
  std::array<float, 4097> out;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double l = static_cast<double>(i) / 4096;
    out[i] = static_cast<float>(255 * (l <= 0.0031308 ? 12.92 * l : 1.055 * std::pow(l, 1 / 2.4) - 0.055));
  }
  return out;
}();
const std::array<float, 257> kLights = [] {
  std::array<float, 257> out;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double v = static_cast<double>(i) / 255;
    out[i] = static_cast<float>(v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
  }
  return out;
}();

Vector3f nothing() {
  return Vector3f::Constant(std::numeric_limits<float>::quiet_NaN());
}

edges::Occluders occluders_of(const Band& band) {
  edges::Occluders out;
  const auto& pieces = band.shell().pieces;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    if (!pieces[i]) {
      out.add_none();
      continue;
    }
    geometry::PlaneFrame face = pieces[i]->face;
    geometry::Polygon outline;
    for (const Vector3d& p : pieces[i]->arris) outline.push_back(face.drop(p));
    face.origin += band.shell().face_above_mm[i] * face.normal;
    out.add(face, outline, kMargin_mm);
  }
  return out;
}

std::vector<CellView> views_of(const scan::Scan& scan, const Pictures& pictures,
                               const edges::Occluders& pieces, const BandCell& cell, double sigma_px) {
  std::vector<std::pair<double, CellView>> found;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const Vector3d to_camera = photo.centre() - cell.at;
    const double distance = to_camera.norm(), cosine = to_camera.dot(cell.normal) / distance;
    if (cosine < kLeastCosine) continue;
    const Vector2d at = photo.project(cell.at);
    if (!photo.lens.in_frame(at, 4 * sigma_px)) continue;
    CellView view;
    view.photo = geometry::PhotoIndex(i);
    view.cosine = static_cast<float>(cosine);
    found.emplace_back(-cosine * photo.lens.fx / distance, view);
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) {
    return a.first != b.first ? a.first < b.first : a.second.photo < b.second.photo;
  });
  std::vector<CellView> out;
  for (auto& [order, view] : found) {
    if (out.size() == kMostViews) break;
    const scan::ScannedPhoto& photo = scan.photos[view.photo];
    if (pieces.hidden(cell.at, photo.centre(), static_cast<std::size_t>(-1), kLevel_mm)) continue;
    view.codes = spot_codes(pictures[view.photo].colour, photo.project(cell.at), sigma_px);
    if (view.codes.allFinite()) out.push_back(view);
  }
  return out;
}

}  // namespace

float light_of(float code) {
  const float x = std::clamp(code, 0.0f, 255.0f);
  const auto i = static_cast<std::size_t>(x);
  const float f = x - static_cast<float>(i);
  return (1 - f) * kLights[i] + f * kLights[i + 1];
}

float code_of(float light) {
  const float x = std::clamp(light, 0.0f, 1.0f) * 4095.999f;
  const auto i = static_cast<std::size_t>(x);
  const float f = x - static_cast<float>(i);
  return (1 - f) * kCodes[i] + f * kCodes[i + 1];
}

Vector3f lights(const Vector3f& codes) {
  return {light_of(codes[0]), light_of(codes[1]), light_of(codes[2])};
}

Vector3f spot_codes(const cv::Mat& colour, const Vector2d& at, double sigma_px) {
  const int reach = static_cast<int>(std::ceil(2 * sigma_px));
  const int x0 = static_cast<int>(std::lround(at.x())), y0 = static_cast<int>(std::lround(at.y()));
  if (x0 < reach || y0 < reach || x0 + reach >= colour.cols || y0 + reach >= colour.rows) return nothing();
  std::array<float, 64> wx{};
  const auto weight = [&](double d) {
    return static_cast<float>(std::exp(-0.5 * d * d / (sigma_px * sigma_px)));
  };
  const int width = std::min(2 * reach + 1, static_cast<int>(wx.size()));
  for (int k = 0; k < width; ++k) wx[static_cast<std::size_t>(k)] = weight(x0 - reach + k - at.x());
  Vector3f sum = Vector3f::Zero();
  float weights = 0;
  for (int y = y0 - reach; y <= y0 + reach; ++y) {
    const float wy = weight(y - at.y());
    const uchar* p = colour.ptr<uchar>(y) + 3 * (x0 - reach);
    for (int k = 0; k < width; ++k, p += 3) {
      const float w = wy * wx[static_cast<std::size_t>(k)];
      sum += w * Vector3f(p[0], p[1], p[2]);
      weights += w;
    }
  }
  sum /= weights;
  return sum;
}

bool burnt(const Vector3f& codes) {
  return codes.minCoeff() > kBurnt;
}

double spot_px(const scan::Scan& scan) {
  return std::max(kLeastSpot_px, kSpot_mm / std::max(0.01, scan.quality.pixel_footprint_mm));
}

BandViews view_band(const scan::Scan& scan, const Pictures& pictures, const Band& band, int threads) {
  const edges::Occluders pieces = occluders_of(band);
  const double sigma_px = spot_px(scan);
  const auto& cells = band.cells();
  constexpr std::size_t kRun = 512;
  const std::size_t runs = (cells.size() + kRun - 1) / kRun;
  std::vector<std::vector<std::vector<CellView>>> of(runs);
  core::parallel_for(runs, threads, [&](std::size_t r) {
    for (std::size_t i = r * kRun; i < std::min(cells.size(), (r + 1) * kRun); ++i)
      of[r].push_back(views_of(scan, pictures, pieces, cells[CellIndex(i)], sigma_px));
  });
  BandViews out;
  out.first.push_back(0);
  for (const auto& run : of) {
    for (const auto& views : run) {
      out.views.insert(out.views.end(), views.begin(), views.end());
      out.first.push_back(out.views.size());
    }
  }
  return out;
}

std::vector<std::vector<Vector3f>> wood_codes(const scan::Scan& scan, const Pictures& pictures,
                                              const Band& band, int threads) {
  const edges::Occluders others = occluders_of(band);
  const double sigma_px = spot_px(scan);
  const auto& pieces = band.shell().pieces;
  std::vector<std::vector<Vector3f>> out(pieces.size(), std::vector<Vector3f>(scan.photos.size(), nothing()));
  core::parallel_for(pieces.size(), threads, [&](std::size_t i) {
    if (!pieces[i]) return;
    const geometry::PlaneFrame& face = pieces[i]->face;
    geometry::Polygon outline;
    for (const Vector3d& p : pieces[i]->arris) outline.push_back(face.drop(p));
    const geometry::Polygon inside = geometry::resampled(geometry::grown(outline, -kInside_mm), 1.0);
    for (std::size_t k = 0; k < scan.photos.size(); ++k) {
      const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(k)];
      std::array<std::vector<float>, 3> codes;
      for (const Vector2d& q : inside) {
        const Vector3d p = face.lift(q) + band.shell().face_above_mm[i] * face.normal;
        const Vector3d to_camera = photo.centre() - p;
        if (to_camera.dot(face.normal) < 0.2 * to_camera.norm()) continue;
        const Vector2d at = photo.project(p);
        if (!photo.lens.in_frame(at, 4 * sigma_px) || others.hidden(p, photo.centre(), i, kLevel_mm))
          continue;
        const Vector3f c = spot_codes(pictures[geometry::PhotoIndex(k)].colour, at, sigma_px);
        if (!c.allFinite() || burnt(c)) continue;
        for (std::size_t n = 0; n < 3; ++n) codes[n].push_back(c[static_cast<Eigen::Index>(n)]);
      }
      if (codes[0].size() < 8) continue;
      for (std::size_t n = 0; n < 3; ++n) {
        std::nth_element(codes[n].begin(),
                         codes[n].begin() + static_cast<std::ptrdiff_t>(codes[n].size() / 2), codes[n].end());
        out[i][k][static_cast<Eigen::Index>(n)] = codes[n][codes[n].size() / 2];
      }
    }
  });
  return out;
}

}  // namespace interstice::refill
