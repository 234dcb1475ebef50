#include "layout/nesting.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <numeric>
#include <optional>

#include "core/errors.h"
#include "geometry/region.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

// Rows of bits, 64 a word.
struct Bits {
  int width = 0, height = 0;
  std::size_t words = 0;
  std::vector<std::uint64_t> rows;

  Bits(int w, int h) : width(w), height(h), words(static_cast<std::size_t>(w + 63) / 64 + 1) {
    rows.assign(words * static_cast<std::size_t>(h), 0);
  }
  std::uint64_t* row(int y) { return rows.data() + words * static_cast<std::size_t>(y); }
  const std::uint64_t* row(int y) const { return rows.data() + words * static_cast<std::size_t>(y); }
  void set(int x, int y) { row(y)[x / 64] |= std::uint64_t{1} << (x % 64); }
};

struct TurnedPiece {
  double turn_deg;
  Vector2d low;  // of the grown outline's box, before shifting
  Bits mask;
};

Vector2d turned(const Vector2d& p, double deg) {
  const double t = deg * std::numbers::pi / 180;
  return {std::cos(t) * p.x() - std::sin(t) * p.y(), std::sin(t) * p.x() + std::cos(t) * p.y()};
}

TurnedPiece rasterized(const geometry::Polygon& outline, double deg, double margin) {
  geometry::Polygon piece;
  for (const Vector2d& p : outline) piece.push_back(turned(p, deg));
  if (geometry::signed_area(piece) < 0) std::reverse(piece.begin(), piece.end());
  constexpr double kHalfDiagonal = 0.7072;  // a cell counts as taken when the outline comes near its centre
  const geometry::Polygon grown_piece =
      geometry::largest(geometry::offset_round({piece}, margin + kHalfDiagonal));
  Vector2d low = grown_piece[0], high = grown_piece[0];
  for (const Vector2d& p : grown_piece) low = low.cwiseMin(p), high = high.cwiseMax(p);
  const int w = static_cast<int>(std::ceil(high.x() - low.x())),
            h = static_cast<int>(std::ceil(high.y() - low.y()));
  TurnedPiece out{deg, low, Bits(w, h)};
  for (int y = 0; y < h; ++y) {
    for (int x = 0; x < w; ++x) {
      if (geometry::contains(grown_piece, low + Vector2d(x + 0.5, y + 0.5))) out.mask.set(x, y);
    }
  }
  return out;
}

bool clash(const Bits& sheet, const Bits& piece, int x0, int y0) {
  const int word = x0 / 64, bit = x0 % 64;
  for (int y = 0; y < piece.height; ++y) {
    const std::uint64_t* a = sheet.row(y0 + y) + word;
    const std::uint64_t* b = piece.row(y);
    const std::size_t room = sheet.words - static_cast<std::size_t>(word);
    for (std::size_t k = 0; k < piece.words && k < room; ++k) {
      if ((a[k] & (b[k] << bit)) != 0) return true;
      if (bit > 0 && k + 1 < room && (a[k + 1] & (b[k] >> (64 - bit))) != 0) return true;
    }
  }
  return false;
}

void stamp(Bits& sheet, const Bits& piece, int x0, int y0) {
  for (int y = 0; y < piece.height; ++y) {
    for (int x = 0; x < piece.width; ++x) {
      if ((piece.row(y)[x / 64] >> (x % 64)) & 1) sheet.set(x0 + x, y0 + y);
    }
  }
}

struct Spot {
  int x, y;
  std::size_t turn;
};

std::optional<Spot> highest_spot(const Bits& sheet, const std::vector<TurnedPiece>& turns) {
  std::optional<Spot> best;
  int best_bottom = sheet.height + 1;
  for (std::size_t t = 0; t < turns.size(); ++t) {
    const Bits& mask = turns[t].mask;
    bool found = false;
    for (int y = 0; y + mask.height <= sheet.height && y + mask.height < best_bottom && !found; ++y) {
      for (int x = 0; x + mask.width <= sheet.width; ++x) {
        if (clash(sheet, mask, x, y)) continue;
        best = Spot{x, y, t}, best_bottom = y + mask.height, found = true;
        break;
      }
    }
  }
  return best;
}

}  // namespace

Vector2d Placement::apply(const Vector2d& p) const {
  return turned(p, turn_deg) + shift;
}

Nesting nest(const std::vector<geometry::Polygon>& outlines, const NestingOptions& options) {
  const int width = static_cast<int>(std::floor(options.width_mm));
  const int height = static_cast<int>(std::floor(options.height_mm));
  std::vector<std::size_t> order(outlines.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return std::abs(geometry::signed_area(outlines[a])) > std::abs(geometry::signed_area(outlines[b]));
  });
  const std::vector<double> angles =
      options.keep_grain ? std::vector<double>{0, 180} : std::vector<double>{0, 90, 180, 270, 30, 60};
  Nesting out;
  out.placements.resize(outlines.size());
  std::vector<Bits> sheets;
  for (const std::size_t i : order) {
    std::vector<TurnedPiece> turns;
    for (const double deg : angles) {
      TurnedPiece piece = rasterized(outlines[i], deg, options.spacing_mm / 2);
      if (piece.mask.width <= width && piece.mask.height <= height) turns.push_back(std::move(piece));
    }
    if (turns.empty()) throw core::InputError("is larger than a sheet: choose a larger sheet");
    std::optional<Spot> spot;
    std::size_t sheet = 0;
    for (; !spot; ++sheet) {
      if (sheet == sheets.size()) sheets.emplace_back(width, height);
      spot = highest_spot(sheets[sheet], turns);
    }
    --sheet;
    const TurnedPiece& piece = turns[spot->turn];
    stamp(sheets[sheet], piece.mask, spot->x, spot->y);
    out.placements[i] = {sheet, piece.turn_deg, Vector2d(spot->x, spot->y) - piece.low};
  }
  out.sheets = sheets.size();
  return out;
}

}  // namespace interstice::layout
