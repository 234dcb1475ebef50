#include "refill/resin_evidence.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <tuple>

#include "core/median.h"
#include "core/parallel.h"
#include "refill/plain_resin.h"

namespace interstice::refill {

using Eigen::Vector3f;

namespace {

constexpr int kRounds = 3;               // of learning the resin with the hollows found so far left out
constexpr std::size_t kLeastGloss = 60;  // cells for a median that noise does not move
constexpr double kClear_mm = 0.45;       // of wood: twice the spot
constexpr double kColourSpot_mm = 0.2;   // standard deviation of what a colour is the mean of
constexpr double kResinLevel_mm = 0.3;   // of how high resin stands: menisci, pieces not flush
constexpr float kLimit = 9;              // three standard deviations, squared: neither for nor against
constexpr float kMostFor = 6, kMostAgainst = 3;  // what a single view may say
constexpr float kMostPooled = 2;                 // a single cell
constexpr float kMostDark = 4;                   // by darkness alone, which a shadow has too
constexpr double kShellEnd_mm = 2.5;             // resin ends as it likes where the shell ends
constexpr double kPool_mm = 0.35;
constexpr float kLeastSd = 1.5f;  // code values: never surer than the camera's rendering
// Of a hue, per code value that a place is brighter or darker than plain resin: how well the colour of its gloss and
// shade is known.
constexpr float kHueOfShade = 0.08f;
constexpr float kShade = 0.045f;   // of plain resin's code values: how far shade differs from place to place
constexpr float kOwnGloss = 0.4f;  // of the light of plain resin, at most
constexpr float kMostTint =
    1.25f;  // of gloss against white: what is mirrored is sky, wall or paper, not wood

constexpr float kWallFrom = 0.55f;  // of the way from resin's hue to the wood's
constexpr float kApart = 3;         // standard deviations by which the two hues must differ

struct Sds {
  float dark = kLeastSd, bright = kLeastSd, red_blue = kLeastSd, green = kLeastSd;
};

// How a view's colour differs from standing resin, code values; what an error of the outline can add to each.
struct Difference {
  float dark = 0, bright = 0, red_blue = 0, green = 0;
  float dark_edge = 0, red_blue_edge = 0, green_edge = 0;
  float outline_dark = 0, outline_hue = 0;  // of the edges, what outlines alone add
  float free = 0;                           // share of the spot that is not wood
  float shade = 1;                          // light over that of plain resin
  float floor = 0;                          // what the floor of a hollow would be darker by
  bool known = false;
};

// In standard deviations.
float squared(float x, float sd, float edge) {
  return x * x / (sd * sd + edge * edge);
}

float share_below(double distance_mm) {  // of a spot that reaches over an edge so far away
  return static_cast<float>(0.5 * std::erfc(distance_mm / (kColourSpot_mm * std::numbers::sqrt2)));
}

float red_blue(const Vector3f& c) {
  return (c[2] - c[0]) / std::numbers::sqrt2_v<float>;
}
float green(const Vector3f& c) {
  return (c[2] + c[0] - 2 * c[1]) / std::sqrt(6.0f);
}

// Of all lights that resin can have, shade * resin + gloss, the nearest to one seen.
Vector3f nearest_resin(const Vector3f& light, const Vector3f& resin, const Vector3f& tint) {
  const float rr = resin.squaredNorm() + 1e-9f, tt = tint.squaredNorm(), rt = resin.dot(tint);
  const float lr = light.dot(resin), lt = light.dot(tint);
  const float det = tt * rr - rt * rt;
  float shade = lr / rr, gloss = 0;
  if (det > 1e-4f * rr) {
    const float s = (tt * lr - rt * lt) / det, g = (rr * lt - rt * lr) / det;
    // What is taken for plain resin has some gloss of its own, so there may be less of it.
    const float least = -kOwnGloss * light_sum(resin);
    if (s < 0)
      shade = 0, gloss = lt / tt;
    else if (g < least)
      gloss = least, shade = (lr - least * rt) / rr;
    else
      shade = s, gloss = g;
  }
  return shade * resin + gloss * tint;
}

// Whether what is seen is a piece's wall: it has the wood's hue, and more light than resin mirrors of wood. A lamp's
// image has as much, but the lamp's hue.
bool is_wall(const Vector3f& light, const Vector3f& as_resin, const Vector3f& resin, const Vector3f& wood,
             float cosine) {
  const float seen = light_sum(light);
  if (seen < light_sum(resin) + wall_in_resin(wood, cosine)) return false;
  const Vector3f wall = codes(seen / std::max(1e-4f, light_sum(wood)) * wood);
  if (wall.maxCoeff() >= 255) return false;
  const auto hue = [](const Vector3f& c) { return Eigen::Vector2f(red_blue(c), green(c)); };
  const Eigen::Vector2f from = hue(codes(as_resin)), way = hue(wall) - from;
  const float share = (hue(codes(light)) - from).dot(way) / std::max(1e-4f, way.squaredNorm());
  return way.norm() > kApart * kLeastSd && share > kWallFrom;
}

// The wood beside a cell as this photo shows it.
struct WoodBeside {
  float share = 0;
  float edge = 0;  // share that an outline off by one standard uncertainty adds
  Vector3f light = Vector3f::Zero();
};

class Learner {
 public:
  Learner(const Band& band, const BandViews& views, const std::vector<std::vector<Vector3f>>& wood,
          std::size_t photos, int threads)
      : band_(band), views_(views), wood_(wood), photos_(photos), threads_(threads) {
    look_.light.assign(views.views.size(), Vector3f::Constant(std::numeric_limits<float>::quiet_NaN()));
    look_.cells.assign(band.cells().size(), {});
    sds_.assign(photos, {});
    of_photo_.resize(photos);
    for (std::size_t i = 0; i < band.cells().size(); ++i) {
      for (std::size_t v = views.first[i]; v < views.first[i + 1]; ++v)
        of_photo_[views.views[v].photo.value].emplace_back(i, v);
    }
  }

  ResinLook learn() {
    const PlainLearner learner(band_, views_, of_photo_);
    for (int round = 0; round < kRounds; ++round) {
      std::vector<char> resin(band_.cells().size());
      for (std::size_t i = 0; i < resin.size(); ++i) resin[i] = taken_as_resin(i) ? 1 : 0;
      PlainResin plain = learner.learn(resin, round == 0, threads_);
      look_.light = std::move(plain.light);
      own_ = std::move(plain.own);
      learn_tint();
      core::parallel_for(photos_, threads_, [&](std::size_t p) { learn_sds(p); });
      weigh_cells();
      pool();
    }
    return std::move(look_);
  }

 private:
  WoodBeside beside(geometry::TileIndex piece, double distance_mm, double outline_sd_mm,
                    const CellView& view) const {
    WoodBeside out;
    out.share = share_below(distance_mm);
    const double tangent = std::sqrt(std::max(0.0, 1 / double(view.cosine * view.cosine) - 1));
    const double sd = std::hypot(std::hypot(kPose_mm, outline_sd_mm), kResinLevel_mm * tangent);
    out.edge = static_cast<float>(std::min(
        1.0, sd / kColourSpot_mm *
                 std::exp(-0.5 * std::pow(std::max(0.0, std::abs(distance_mm) - sd) / kColourSpot_mm, 2)) /
                 std::sqrt(2 * std::numbers::pi)));
    const Vector3f& codes = wood_[piece.value][view.photo.value];
    if (codes.allFinite())
      out.light = lights(codes);
    else
      out.light = Vector3f::Constant(std::numeric_limits<float>::quiet_NaN());
    return out;
  }

  // The light of what fills the cell beside the wood; the share of the spot it has.
  std::pair<Vector3f, float> without_wood(const BandCell& cell, const CellView& view) const {
    Vector3f light = lights(view.codes);
    float free = 1;
    for (const auto& [piece, distance, sd] : {std::tuple{cell.first, cell.first_mm, cell.first_sd_mm},
                                              std::tuple{cell.second, cell.second_mm, cell.second_sd_mm}}) {
      const WoodBeside b = beside(piece, distance, sd, view);
      if (b.share < 0.01f) continue;
      if (!b.light.allFinite()) return {light, 0.0f};
      light -= b.share * b.light;
      free -= b.share;
    }
    if (free < 0.3f) return {light, 0.0f};
    return {(light / free).cwiseMax(0.0f), free};
  }

  Difference difference(const BandCell& cell, std::size_t v) const {
    Difference d;
    const CellView& view = views_.views[v];
    const Vector3f& resin = look_.light[v];
    if (!resin.allFinite()) return d;
    const auto [light, free] = without_wood(cell, view);
    if (free <= 0) return d;
    d.known = true;
    d.free = free;
    const Vector3f expected = nearest_resin(light, resin, tint_);
    const Vector3f seen = codes(light), as_resin = codes(expected);
    d.red_blue = red_blue(seen) - red_blue(as_resin);
    d.green = green(seen) - green(as_resin);
    const auto wall_of = [&, &lit = light](geometry::TileIndex piece) {
      const Vector3f& c = wood_[piece.value][view.photo.value];
      return c.allFinite() && !burnt(view.codes) && is_wall(lit, expected, resin, lights(c), view.cosine);
    };
    // Gloss and shade have a hue that is not quite known; the light of a wall is neither.
    if (!wall_of(cell.first) && !wall_of(cell.second))
      d.red_blue_edge = d.green_edge = kHueOfShade * std::abs(bright(seen) - bright(codes(resin)));
    // Where this very seam's resin is plainer, mirroring less, that is what a hollow must be darker than.
    const bool plainer = own_[v].allFinite() && light_sum(own_[v]) < light_sum(resin);
    const Vector3f& own = plainer ? own_[v] : resin;
    const Vector3f plain = codes(own);
    d.shade = light_sum(light) / std::max(1e-4f, light_sum(own));
    d.dark = std::min(0.0f, bright(seen) - bright(plain));
    d.bright = std::max(0.0f, bright(seen) - bright(plain));
    d.floor = bright(codes(kFloorLight * own)) - bright(plain);
    d.dark_edge = kShade * bright(plain);
    for (const auto& [piece, distance, sd] : {std::tuple{cell.first, cell.first_mm, cell.first_sd_mm},
                                              std::tuple{cell.second, cell.second_mm, cell.second_sd_mm}}) {
      const WoodBeside b = beside(piece, distance, sd, view);
      if (b.edge < 0.01f || !b.light.allFinite()) continue;
      const Vector3f moved = codes(((1 - b.edge) * own + b.edge * b.light).eval()) - plain;
      d.red_blue_edge += std::abs(red_blue(moved));
      d.green_edge += std::abs(green(moved));
      // Darker by wood that is, or by more wood taken off than there was.
      const float taken = std::min(b.edge, b.share);
      const Vector3f less = (own + taken * (own - b.light)).cwiseMax(0.0f);
      d.outline_dark += std::max({0.0f, -bright(moved), bright(plain) - bright(codes(less))});
      d.outline_hue += std::abs(red_blue(moved));
    }
    d.dark_edge += d.outline_dark;
    return d;
  }

  bool taken_as_resin(std::size_t i) const {
    const BandCell& cell = band_.cells()[CellIndex(i)];
    return cell.first_mm >= kClear_mm && cell.to_end_mm >= kShellEnd_mm && look_.cells[i].log_odds <= 0;
  }

  // The colour of what the resin mirrors: median of what it adds where it adds half as much again.
  void learn_tint() {
    std::array<std::vector<double>, 3> added;
    for (std::size_t i = 0; i < band_.cells().size(); ++i) {
      if (!taken_as_resin(i)) continue;
      for (std::size_t v = views_.first[i]; v < views_.first[i + 1]; ++v) {
        if (!look_.light[v].allFinite()) continue;
        const Vector3f more = lights(views_.views[v].codes) - look_.light[v];
        if (light_sum(more) < 0.5f * light_sum(look_.light[v]) || light_sum(more) < 0.01f) continue;
        for (std::size_t n = 0; n < 3; ++n)
          added[n].push_back(static_cast<double>(more[static_cast<Eigen::Index>(n)] / light_sum(more)));
      }
    }
    tint_ = Vector3f::Ones();
    if (added[0].size() < kLeastGloss) return;
    for (std::size_t n = 0; n < 3; ++n)
      tint_[static_cast<Eigen::Index>(n)] =
          std::clamp(static_cast<float>(core::median(added[n])), 1 / kMostTint, kMostTint);
  }

  void learn_sds(std::size_t p) {
    std::vector<double> dark, more, rb, g;
    for (const auto& [i, v] : of_photo_[p]) {
      if (!taken_as_resin(i)) continue;
      const Difference d = difference(band_.cells()[CellIndex(i)], v);
      if (!d.known) continue;
      if (d.dark < 0) dark.push_back(-static_cast<double>(d.dark));
      if (d.bright > 0) more.push_back(static_cast<double>(d.bright));
      rb.push_back(std::abs(static_cast<double>(d.red_blue)));
      g.push_back(std::abs(static_cast<double>(d.green)));
    }
    sds_[p] = {std::max(kLeastSd, static_cast<float>(core::robust_sd(dark))),
               std::max(kLeastSd, static_cast<float>(core::robust_sd(more))),
               std::max(kLeastSd, static_cast<float>(core::robust_sd(rb))),
               std::max(kLeastSd, static_cast<float>(core::robust_sd(g)))};
  }

  // Resin as dark as a hollow in this view speaks against none; nor does light that the resin about does not mirror.
  static float tells_against(const Difference& d, const Sds& sd) {
    const float floor = squared(d.floor, sd.dark, d.dark_edge) / kLimit;
    const float mirrored = squared(d.bright, sd.bright, d.dark_edge) / kLimit;
    return std::min(1.0f, floor) * std::max(0.0f, 1 - mirrored);
  }

  void weigh_cells() {
    raw_.assign(band_.cells().size(), {});
    core::parallel_for(raw_.size(), threads_, [&](std::size_t i) {
      float sum = 0, weights = 0, hue = 0, shade = 0;
      for (std::size_t v = views_.first[i]; v < views_.first[i + 1]; ++v) {
        const Difference d = difference(band_.cells()[CellIndex(i)], v);
        if (!d.known) continue;
        const Sds& sd = sds_[views_.views[v].photo.value];
        const float hue2 =
            squared(d.red_blue, sd.red_blue, d.red_blue_edge) + squared(d.green, sd.green, d.green_edge);
        const float dark2 = std::min(squared(d.dark, sd.dark, d.dark_edge), kLimit + 2 * kMostDark);
        // What a shift of the outline hides counts neither way, be it of hue or of darkness.
        const auto sure_of = [](float s, float edge) { return s * s / (s * s + edge * edge); };
        const float sure = std::max(sure_of(sd.red_blue, d.outline_hue), sure_of(sd.dark, d.outline_dark));
        float says = std::clamp(0.5f * (hue2 + dark2 - kLimit), -kMostAgainst, kMostFor);
        if (says < 0) says *= sure;
        float w = views_.views[v].cosine * d.free * d.free * std::sqrt(sure);
        if (says < 0) w *= tells_against(d, sd);
        sum += w * says;
        weights += w;
        hue += hue2 > kLimit ? w : 0;
        shade += w * d.shade;
      }
      if (weights <= 0) return;
      // As much for as against, so that an edge of a hollow is not moved by pooling.
      raw_[i] = {std::clamp(sum / weights, -kMostPooled, kMostPooled), std::min(1.0f, weights), hue / weights,
                 shade / weights};
    });
  }

  void pool() {
    const int reach = static_cast<int>(std::ceil(2 * kPool_mm / Band::kStep_mm));
    core::parallel_for(raw_.size(), threads_, [&](std::size_t i) {
      const BandCell& cell = band_.cells()[CellIndex(i)];
      float sum = 0, weights = 0, near = 0;
      for (int dr = -reach; dr <= reach; ++dr) {
        for (int dc = -reach; dc <= reach; ++dc) {
          const int r = cell.row + dr, c = cell.column + dc;
          if (r < 0 || c < 0 || r >= band_.grid().rows || c >= band_.grid().cols) continue;
          const int k = band_.grid().at<int>(r, c);
          if (k < 0) continue;
          const double d2 = (dr * dr + dc * dc) * Band::kStep_mm * Band::kStep_mm;
          const auto w = static_cast<float>(std::exp(-0.5 * d2 / (kPool_mm * kPool_mm)));
          sum += w * raw_[static_cast<std::size_t>(k)].weight * raw_[static_cast<std::size_t>(k)].log_odds;
          weights += w * raw_[static_cast<std::size_t>(k)].weight;
          near += w;
        }
      }
      look_.cells[i] = weights > 0 ? CellEvidence{sum / weights, weights / near, raw_[i].hue, raw_[i].shade}
                                   : CellEvidence{};
    });
  }

  const Band& band_;
  const BandViews& views_;
  const std::vector<std::vector<Vector3f>>& wood_;
  std::size_t photos_;
  int threads_;
  std::vector<Vector3f> own_;  // by view: the light of plain resin in its own seam; NaN: not known
  ResinLook look_;
  Vector3f tint_ = Vector3f::Ones();  // of gloss; mean 1
  std::vector<CellsAndViews> of_photo_;
  std::vector<Sds> sds_;
  std::vector<CellEvidence> raw_;
};

}  // namespace

ResinLook weigh_resin(const Band& band, const BandViews& views,
                      const std::vector<std::vector<Vector3f>>& wood, std::size_t photos, int threads) {
  return Learner(band, views, wood, photos, threads).learn();
}

}  // namespace interstice::refill
