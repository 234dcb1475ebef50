#include "edges/find_corner.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "edges/photo_errors.h"

namespace interstice::edges {

namespace {

constexpr double kStep_mm = 0.05;  // of places and of heights
// A corner broken deeper, or a face that falls off further, is no edge by hand.
constexpr double kHighest_mm = 1.8;
constexpr double kTable_mm = 0.025;  // of a photo's votes by offset
// Of what may be asked: the arris of the highest corner under slope 2.5.
constexpr double kMostOffset_mm = 6.0;
constexpr double kNear_px = 0.5, kNear_mm = 0.04;  // how near a step must lie to count
// Of a vote: gaps are mostly darker than faces, and light that rises outward is rather the neighbour's edge across
// a narrow seam.
constexpr double kBrighter = 0.7;
constexpr float kSecond = 0.2f;  // what steps show by chance where there is no line, of a photo
// Grey levels at which a step counts half: these, or this many times what the photo shows away from edges.
constexpr double kHalfContrast = 5.0, kHalfNoise = 3.0;
// Cost of a step of 0.05 mm from one point to the next, in photos: the outline bends, a corner's height
// changes over several millimetres.
constexpr double kBend = 0.12, kUneven = 0.2;
constexpr double kFar = 0.5;                   // photos, at the end of the reach
constexpr int kMostBend = 3, kMostUneven = 1;  // steps

constexpr double kAspects[] = {0.5, 0.7, 1, 1.4, 2};  // of the usual width over height

constexpr int kPlaces = 2 * static_cast<int>(kCornerReach_mm / kStep_mm + 0.5) + 1;
constexpr int kHeights = static_cast<int>(kHighest_mm / kStep_mm + 0.5) + 1;
constexpr int kStates = kPlaces * kHeights;

double place_mm(int k) {
  return (k - kPlaces / 2) * kStep_mm;
}
double height_mm(int m) {
  return m * kStep_mm;
}

// How well a photo's steps agree with a line at each offset: 0 to 1, and less where the photo itself is known less well
// than its steps can be read (`near_mm`, with the photo's place in it, against `sharp_mm`).
class Votes {
 public:
  Votes(const SeenSteps& seen, const ChannelNoise& noise, double near_mm, double sharp_mm)
      : value_(2 * kHalfTable + 1, 0.0f) {
    for (const SeenSteps::Step& step : seen.steps) {
      const double trust = trusted(step.channel);
      const double half = std::max(kHalfContrast, kHalfNoise * trust * noise[step.channel]);
      const double c2 = std::pow(trust * step.contrast, 2);
      const double size = (step.brighter ? kBrighter : 1.0) * c2 / (c2 + half * half) * sharp_mm / near_mm;
      const int middle = kHalfTable + static_cast<int>(std::lround(step.offset_mm / kTable_mm));
      const int reach = static_cast<int>(3 * near_mm / kTable_mm);
      for (int j = std::max(0, middle - reach); j <= std::min(2 * kHalfTable, middle + reach); ++j) {
        const double x = ((j - kHalfTable) * kTable_mm - step.offset_mm) / near_mm;
        float& v = value_[static_cast<std::size_t>(j)];
        v = std::max(v, static_cast<float>(size * std::exp(-0.5 * x * x)));
      }
    }
  }
  // Adds to every place what a line `shift_mm` outward of it gets.
  void add(double shift_mm, std::array<float, kPlaces>& sum) const {
    constexpr int kEvery = 2;  // cells of the table from place to place
    static_assert(kTable_mm * kEvery == kStep_mm);
    int j = kHalfTable + static_cast<int>(std::lround((place_mm(0) + shift_mm) / kTable_mm));
    for (int k = 0; k < kPlaces; ++k, j += kEvery) {
      if (j >= 0 && j <= 2 * kHalfTable)
        sum[static_cast<std::size_t>(k)] += value_[static_cast<std::size_t>(j)];
    }
  }

 private:
  static constexpr int kHalfTable = static_cast<int>(kMostOffset_mm / kTable_mm);
  std::vector<float> value_;
};

// What one photo says at a point.
struct PhotoVotes {
  Votes votes;
  double slope, near_mm;
};

// Votes of a point's photos for every state. The corner may be as steep or as flat as it likes: its rim counts
// where most photos see it.
void vote(const std::vector<PhotoVotes>& photos, double aspect, std::vector<double>& score) {
  std::array<float, kPlaces> sum, best;
  for (int m = 0; m < kHeights; ++m) {
    const double h = height_mm(m);
    best.fill(-1e9f);
    for (const double times : kAspects) {
      const double a = times * aspect;
      sum.fill(0);
      for (const PhotoVotes& photo : photos) {
        photo.votes.add(std::max(photo.slope, -a) * h, sum);  // -a: the arris is hidden behind the rim
        if ((a + photo.slope) * h <= 2 * photo.near_mm) continue;
        photo.votes.add(-a * h, sum);
        for (float& x : sum) x -= kSecond;
      }
      for (std::size_t k = 0; k < best.size(); ++k) best[k] = std::max(best[k], sum[k]);
      if (m == 0) break;
    }
    for (std::size_t k = 0; k < best.size(); ++k)
      score[static_cast<std::size_t>(m) * kPlaces + k] += static_cast<double>(best[k]);
  }
}

using Scores = std::vector<std::vector<double>>;  // of every state, point by point

// The best way to every state from the states before it.
struct Best {
  std::vector<double> value = std::vector<double>(kStates);
  std::vector<short> from = std::vector<short>(kStates);
};

// Places and heights change each at its own price: first the one, then the other.
void step_to(const std::vector<double>& value, Best& bent, Best& out) {
  for (int m = 0; m < kHeights; ++m) {
    for (int k = 0; k < kPlaces; ++k) {
      const int here = m * kPlaces + k;
      double best = -1e18;
      for (int dk = -std::min(kMostBend, k); dk <= std::min(kMostBend, kPlaces - 1 - k); ++dk) {
        const double v = value[static_cast<std::size_t>(here + dk)] - kBend * dk * dk;
        if (v > best) best = v, bent.from[static_cast<std::size_t>(here)] = static_cast<short>(here + dk);
      }
      bent.value[static_cast<std::size_t>(here)] = best;
    }
  }
  for (int m = 0; m < kHeights; ++m) {
    for (int k = 0; k < kPlaces; ++k) {
      const auto here = static_cast<std::size_t>(m * kPlaces + k);
      double best = -1e18;
      for (int dm = -std::min(kMostUneven, m); dm <= std::min(kMostUneven, kHeights - 1 - m); ++dm) {
        const auto there = static_cast<std::size_t>((m + dm) * kPlaces + k);
        const double v = bent.value[there] - kUneven * dm * dm;
        if (v > best) best = v, out.from[here] = bent.from[there];
      }
      out.value[here] = best;
    }
  }
}

// The best sum of scores of any path that ends in a state, of the second of two laps: it starts from what the
// first one settled.
struct Sweep {
  Scores value;                          // by point
  std::vector<std::vector<short>> from;  // of both laps, in the order they were made; only forward
};

enum class Round { forward, backward };

Sweep sweep(const Scores& score, Round round) {
  const std::size_t n = score.size();
  Sweep out{Scores(n), {}};
  std::vector<double> value(kStates, 0.0);
  Best bent, step;
  for (std::size_t lap = 0; lap < 2 * n; ++lap) {
    const std::size_t i = round == Round::forward ? lap % n : n - 1 - lap % n;
    step_to(value, bent, step);
    for (std::size_t s = 0; s < value.size(); ++s) value[s] = step.value[s] + score[i][s];
    if (round == Round::forward) out.from.push_back(step.from);
    if (lap >= n) out.value[i] = value;
  }
  return out;
}

std::vector<int> path_of(const Sweep& forward) {
  const std::size_t n = forward.value.size();
  const std::vector<double>& last = forward.value.back();
  int state = static_cast<int>(std::max_element(last.begin(), last.end()) - last.begin());
  std::vector<int> path(n);
  for (std::size_t lap = 2 * n; lap-- > 0;) {
    if (lap >= n) path[lap - n] = state;
    state = forward.from[lap][static_cast<std::size_t>(state)];
  }
  return path;
}

// How far off the arris may be because another path is nearly as good: of the best path through every other
// place, its chance against the best one's times how far off it is.
std::vector<double> doubt_of(const Scores& score, const Sweep& forward, const std::vector<int>& path) {
  // Of odds: what a photo's line tells against chance.
  const double per_vote = std::log(1 / static_cast<double>(kSecond));
  constexpr double kOther_mm = 0.2;  // nearer, the measurement that follows settles it
  const std::size_t n = score.size();
  const Sweep backward = sweep(score, Round::backward);
  std::vector<double> out(n, 0);
  for (std::size_t i = 0; i < n; ++i) {
    const auto through = [&](std::size_t state) {
      return forward.value[i][state] + backward.value[i][state] - score[i][state];
    };
    const double best = through(static_cast<std::size_t>(path[i]));
    for (int k = 0; k < kPlaces; ++k) {
      const double off = place_mm(k) - place_mm(path[i] % kPlaces);
      if (std::abs(off) < kOther_mm) continue;
      double other = -1e18;
      for (int m = 0; m < kHeights; ++m)
        other = std::max(other, through(static_cast<std::size_t>(m * kPlaces + k)));
      const double odds = std::exp(std::min(0.0, per_vote * (other - best)));
      out[i] = std::max(out[i], std::sqrt(odds / (1 + odds)) * std::abs(off));
    }
  }
  return out;
}

// Scores of all states about one line.
Scores scores_of(const scan::Scan& scan,
                 const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                 const ArrisLine& line, double aspect, const Surroundings& around, ContrastNoise& noise) {
  const std::size_t n = line.outline.size();
  Scores score(n, std::vector<double>(kStates, 0.0));
  for (std::vector<double>& s : score) {
    for (int k = 0; k < kPlaces; ++k) {
      const double far = place_mm(k) / kCornerReach_mm;
      for (int m = 0; m < kHeights; ++m) s[static_cast<std::size_t>(m * kPlaces + k)] -= kFar * far * far;
    }
  }
  AllSteps steps = all_steps(scan, pictures, line, kMostOffset_mm, around);
  noise = std::move(steps.noise);
  std::vector<double> place_sd;
  for (const scan::ScannedPhoto& photo : scan.photos) place_sd.push_back(place_sd_mm(photo, line.frame));
  std::vector<std::vector<PhotoVotes>> photos(n);
  for (const SeenSteps& seen : steps.seen) {
    const double sharp_mm = std::hypot(kNear_px / seen.view.px_per_mm, kNear_mm);
    const double near_mm = std::hypot(sharp_mm, place_sd[seen.view.photo.value]);
    photos[seen.point].push_back(
        {Votes(seen, noise[seen.view.photo], near_mm, sharp_mm), seen.view.slope, near_mm});
  }
  for (std::size_t i = 0; i < n; ++i) vote(photos[i], aspect, score[i]);
  return score;
}

bool at_the_end(const std::vector<int>& path) {
  constexpr int kEnd = 2;  // steps
  return std::any_of(path.begin(), path.end(), [](int state) {
    const int k = state % kPlaces;
    return k < kEnd || k >= kPlaces - kEnd;
  });
}

}  // namespace

FoundCorner find_corner(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const ArrisLine& start, double aspect, const Surroundings& around) {
  constexpr int kSearches = 3;  // about 2.5 mm off the first line
  ArrisLine line = start;
  const std::size_t n = line.outline.size();
  FoundCorner out;
  for (int round = 0; round < kSearches; ++round) {
    const Scores score = scores_of(scan, pictures, line, aspect, around, out.contrast_noise);
    const Sweep forward = sweep(score, Round::forward);
    const std::vector<int> path = path_of(forward);
    out.height.clear();
    for (std::size_t i = 0; i < n; ++i) {
      line.outline[i] += place_mm(path[i] % kPlaces) * line.normals[i];
      out.height.push_back(height_mm(path[i] / kPlaces));
    }
    if (!at_the_end(path) || round + 1 == kSearches) {
      out.doubt_mm = doubt_of(score, forward, path);
      break;
    }
    line.normals = geometry::outward_normals(line.outline);
  }
  out.outline = std::move(line.outline);
  return out;
}

}  // namespace interstice::edges
