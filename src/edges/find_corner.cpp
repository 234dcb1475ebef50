#include "edges/find_corner.h"

#include <algorithm>
#include <cmath>

namespace interstice::edges {

namespace {

constexpr double kStep_mm = 0.05;    // of places and of heights
constexpr double kReach_mm = 0.9;    // of places, either way
constexpr double kHighest_mm = 1.2;  // a corner broken deeper is a chamfer by design
constexpr double kTable_mm = 0.025;  // of a photo's votes by offset
constexpr double kMostOffset_mm =
    3.9;  // of what may be asked: the arris of the highest corner under slope 2.5
constexpr double kNear_px = 0.5, kNear_mm = 0.04;  // how near a step must lie to count
constexpr double kSecond = 0.2;        // what steps show by chance where there is no line, of a photo
constexpr double kHalfContrast = 5.0;  // grey levels at which a step counts half
// Cost of a step of 0.05 mm from one point to the next, in photos: the outline bends, a corner's height
// changes over several millimetres.
constexpr double kBend = 0.25, kUneven = 0.6;
constexpr int kMostBend = 3, kMostUneven = 1;  // steps
constexpr double kFar = 0.2;                   // photos, at the end of the reach

constexpr double kAspects[] = {0.5, 0.7, 1, 1.4, 2};  // of the usual width over height

constexpr int kPlaces = 2 * static_cast<int>(kReach_mm / kStep_mm + 0.5) + 1;
constexpr int kHeights = static_cast<int>(kHighest_mm / kStep_mm + 0.5) + 1;
constexpr int kStates = kPlaces * kHeights;

double place_mm(int k) {
  return (k - kPlaces / 2) * kStep_mm;
}
double height_mm(int m) {
  return m * kStep_mm;
}

// How well a photo's steps agree with a line at each offset: 0 to 1.
class Votes {
 public:
  Votes(const SeenSteps& seen, double near_mm) : value_(2 * kHalfTable + 1, 0.0f) {
    for (const SeenSteps::Step& step : seen.steps) {
      const double size = step.contrast / (step.contrast + kHalfContrast);
      const int middle = kHalfTable + static_cast<int>(std::lround(step.offset_mm / kTable_mm));
      const int reach = static_cast<int>(3 * near_mm / kTable_mm);
      for (int j = std::max(0, middle - reach); j <= std::min(2 * kHalfTable, middle + reach); ++j) {
        const double x = ((j - kHalfTable) * kTable_mm - step.offset_mm) / near_mm;
        float& v = value_[static_cast<std::size_t>(j)];
        v = std::max(v, static_cast<float>(size * std::exp(-0.5 * x * x)));
      }
    }
  }
  double at(double offset_mm) const {
    const int j = kHalfTable + static_cast<int>(std::lround(offset_mm / kTable_mm));
    return j < 0 || j > 2 * kHalfTable ? 0.0 : static_cast<double>(value_[static_cast<std::size_t>(j)]);
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
  for (int m = 0; m < kHeights; ++m) {
    const double h = height_mm(m);
    for (int k = 0; k < kPlaces; ++k) {
      const double d = place_mm(k);
      double best = -1e9;
      for (const double times : kAspects) {
        const double a = times * aspect;
        double sum = 0;
        for (const PhotoVotes& photo : photos) {
          const double apart = (a + photo.slope) * h;  // negative: the arris is hidden behind the rim
          sum += photo.votes.at(d + std::max(photo.slope, -a) * h);
          if (apart > 2 * photo.near_mm) sum += photo.votes.at(d - a * h) - kSecond;
        }
        best = std::max(best, sum);
        if (m == 0) break;
      }
      score[static_cast<std::size_t>(m * kPlaces + k)] += best;
    }
  }
}

// The best closed path through the states of all points, by two laps: the second starts from what the first
// one settled.
std::vector<int> best_path(const std::vector<std::vector<double>>& score) {
  const std::size_t n = score.size();
  std::vector<double> value(kStates, 0.0), next(kStates);
  std::vector<std::vector<short>> from(2 * n, std::vector<short>(kStates));
  for (std::size_t lap = 0; lap < 2 * n; ++lap) {
    for (int m = 0; m < kHeights; ++m) {
      for (int k = 0; k < kPlaces; ++k) {
        double best = -1e18;
        int best_state = 0;
        for (int dm = -kMostUneven; dm <= kMostUneven; ++dm) {
          if (m + dm < 0 || m + dm >= kHeights) continue;
          for (int dk = -kMostBend; dk <= kMostBend; ++dk) {
            if (k + dk < 0 || k + dk >= kPlaces) continue;
            const int state = (m + dm) * kPlaces + k + dk;
            const double v = value[static_cast<std::size_t>(state)] - kBend * dk * dk - kUneven * dm * dm;
            if (v > best) best = v, best_state = state;
          }
        }
        const auto here = static_cast<std::size_t>(m * kPlaces + k);
        next[here] = best + score[lap % n][here];
        from[lap][here] = static_cast<short>(best_state);
      }
    }
    value.swap(next);
  }
  int state = static_cast<int>(std::max_element(value.begin(), value.end()) - value.begin());
  std::vector<int> path(n);
  for (std::size_t lap = 2 * n; lap-- > 0;) {
    if (lap >= n) path[lap - n] = state;
    state = from[lap][static_cast<std::size_t>(state)];
  }
  return path;
}

}  // namespace

FoundCorner find_corner(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const ArrisLine& line, double aspect, const Surroundings& around) {
  const std::size_t n = line.outline.size();
  std::vector<std::vector<double>> score(n, std::vector<double>(kStates, 0.0));
  for (std::vector<double>& s : score) {
    for (int k = 0; k < kPlaces; ++k) {
      const double far = place_mm(k) / kReach_mm;
      for (int m = 0; m < kHeights; ++m) s[static_cast<std::size_t>(m * kPlaces + k)] -= kFar * far * far;
    }
  }
  std::vector<std::vector<PhotoVotes>> photos(n);
  for (const SeenSteps& seen : all_steps(scan, pictures, line, kMostOffset_mm, around)) {
    const double near_mm = std::hypot(kNear_px / seen.view.px_per_mm, kNear_mm);
    photos[seen.point].push_back({Votes(seen, near_mm), seen.view.slope, near_mm});
  }
  for (std::size_t i = 0; i < n; ++i) vote(photos[i], aspect, score[i]);
  const std::vector<int> path = best_path(score);
  FoundCorner out;
  for (std::size_t i = 0; i < n; ++i) {
    out.outline.push_back(line.outline[i] + place_mm(path[i] % kPlaces) * line.normals[i]);
    out.height.push_back(height_mm(path[i] / kPlaces));
  }
  return out;
}

}  // namespace interstice::edges
