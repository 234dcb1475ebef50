#include "solid/throat.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace interstice::solid {
namespace {

using Eigen::Vector3d;

constexpr std::array kDepths{0.0, 0.25, 0.5, 0.75, 1.0};

// Narrows down on the place of one wall that is nearest to the other body.
class Probe {
 public:
  Probe(const SolidBody& a, const SolidBody& b, double limit_mm) : a_(a), b_(b), limit_(limit_mm) {}

  // `along`: outline segment and share of it as one number, going round.
  void at(int from, double along, double depth) {
    const SolidBody& body = from == 0 ? a_ : b_;
    const auto n = static_cast<double>(body.solid().arris.size());
    double wrapped = along - std::floor(along / n) * n;
    if (wrapped >= n) wrapped = 0;
    const auto i = static_cast<std::size_t>(wrapped);
    const double t = wrapped - static_cast<double>(i);
    const Vector3d p = on_wall(body, i, t, depth);
    const auto hit = (from == 0 ? b_ : a_).nearest(p, limit_);
    if (!hit || hit->distance_mm >= limit_) return;
    limit_ = hit->distance_mm;
    from_ = from, along_ = along, depth_ = depth;
    best = from == 0 ? Throat{limit_, p, hit->point, i, hit->segment, t, hit->t}
                     : Throat{limit_, hit->point, p, hit->segment, i, hit->t, t};
  }

  // Pattern search round the best place; walls are smooth, so halving steps closes in.
  void refine(double along_step, double depth_step, int rounds) {
    for (int k = 0; best && k < rounds; ++k, along_step /= 2, depth_step /= 2) {
      const int from = from_;
      const double along = along_, depth = depth_;
      for (const double dx : {-along_step, 0.0, along_step}) {
        for (const double dy : {-depth_step, 0.0, depth_step}) {
          if ((dx == 0 && dy == 0) || (along_step == 0 && dx != 0)) continue;
          at(from, along + dx, std::clamp(depth + dy, 0.0, 1.0));
        }
      }
    }
  }

  static Vector3d on_wall(const SolidBody& body, std::size_t i, double t, double depth) {
    const PieceSolid& own = body.solid();
    const std::size_t j = (i + 1) % own.arris.size();
    const Vector3d top = own.arris[i] + t * (own.arris[j] - own.arris[i]);
    return top + depth * (own.root[i] + t * (own.root[j] - own.root[i]) - top);
  }

  std::optional<Throat> best;

 private:
  const SolidBody &a_, &b_;
  double limit_;
  int from_ = 0;
  double along_ = 0, depth_ = 0;
};

}  // namespace

std::optional<Throat> throat_of(const SolidBody& a, const SolidBody& b, const MouthOptions& options) {
  if (a.empty() || b.empty()) return std::nullopt;
  Probe probe(a, b, options.limit_mm);
  for (const int from : {0, 1}) {
    const SolidBody& other = from == 0 ? b : a;
    const PieceSolid& own = (from == 0 ? a : b).solid();
    const double reach = other.radius_mm() + options.limit_mm;
    for (std::size_t i = 0; i < own.arris.size(); ++i) {
      if ((own.arris[i] - other.centre()).norm() > reach && (own.root[i] - other.centre()).norm() > reach)
        continue;
      for (const double depth : kDepths) probe.at(from, static_cast<double>(i), depth);
    }
  }
  probe.refine(0.5, 0.125, 6);
  return probe.best;
}

std::vector<std::optional<Throat>> feet_along(const SolidBody& a, const SolidBody& b,
                                              const std::vector<MouthSample>& mouths,
                                              const MouthOptions& options) {
  std::vector<std::optional<Throat>> out;
  for (const MouthSample& m : mouths) {
    Probe probe(a, b, options.limit_mm);
    if (!a.empty() && !b.empty()) {
      probe.at(m.from, static_cast<double>(m.segment) + m.t, 1);
      probe.at(1 - m.from, static_cast<double>(m.to_segment) + m.to_t, 1);
    }
    out.push_back(probe.best);
  }
  return out;
}

std::vector<std::optional<Throat>> throats_along(const SolidBody& a, const SolidBody& b,
                                                 const std::vector<MouthSample>& mouths,
                                                 const MouthOptions& options) {
  std::vector<std::optional<Throat>> out;
  for (const MouthSample& m : mouths) {
    if (a.empty() || b.empty()) {
      out.emplace_back();
      continue;
    }
    const double own = static_cast<double>(m.segment) + m.t, to = static_cast<double>(m.to_segment) + m.to_t;
    Probe probe(a, b, options.limit_mm);
    for (const double depth : kDepths) {
      probe.at(m.from, own, depth);
      probe.at(1 - m.from, to, depth);
    }
    probe.refine(0, 0.125, 4);
    out.push_back(probe.best);
  }
  return out;
}

std::optional<double> width_at_depth(const SolidBody& a, const SolidBody& b, const Vector3d& near_a,
                                     const Vector3d& near_b, double depth, double limit_mm) {
  std::optional<double> best;
  const auto offer = [&](const SolidBody& own, const SolidBody& other, const Vector3d& near) {
    const auto place = own.nearest(near, limit_mm);
    if (!place) return;
    const auto hit = other.nearest(Probe::on_wall(own, place->segment, place->t, depth), limit_mm);
    if (hit && (!best || hit->distance_mm < *best)) best = hit->distance_mm;
  };
  offer(a, b, near_a);
  offer(b, a, near_b);
  return best;
}

PieceSolid kept_part(const PieceSolid& piece, double face_above_mm, const plan::FinishedWall& wall) {
  PieceSolid out = piece;
  const double from = std::max(0.0, wall.from_mm - face_above_mm),
               to = std::max(from, wall.to_mm - face_above_mm);
  out.face.origin -= from * piece.face.normal;
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const Vector3d down = piece.root[i] - piece.arris[i];
    const double height = -down.dot(piece.face.normal);
    if (height <= 0) continue;
    out.arris[i] = piece.arris[i] + std::min(1.0, from / height) * down;
    out.root[i] = piece.arris[i] + std::min(1.0, to / height) * down;
  }
  return out;
}

}  // namespace interstice::solid
