#include "layout/paper_fit.h"

#include <fmt/core.h>

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "layout/paper_gaps.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kFullTurn = 2 * std::numbers::pi;
constexpr double kCoarse_mm = 2.5;  // between points that are fitted; edges bend gently
constexpr double kWay_mm = 6;       // steps along the form while fitting: chords err by 0.02 mm
constexpr double kFine_mm = 1;      // for the result
constexpr int kStartsAPiece = 3;    // a third of a piece from the right turn, edges find each other

// Gaps far from the even one count less and less (Cauchy): edges that face nothing of theirs.
double cauchy(double r, double scale) {
  return scale * scale * std::log1p(r * r / (scale * scale));
}

struct Extent {
  double lower = 0, width = 0;  // below the middle; across, at the middle's height; mm
};

Extent extent_of(const geometry::Polygon& outline) {
  const std::vector<Vector2d> out = geometry::outward_normals(outline);
  Extent e;
  double low = 0, n = 0, left = 0, right = 0, bottom = 0;
  for (std::size_t k = 0; k < outline.size(); ++k) {
    bottom = std::min(bottom, outline[k].y());
    if (out[k].y() < -0.7) low += outline[k].y(), n += 1;
  }
  for (const Vector2d& p : outline) {
    if (std::abs(p.y()) < 0.3 * std::abs(bottom))
      left = std::min(left, p.x()), right = std::max(right, p.x());
  }
  e.lower = n > 0 ? -low / n : -bottom;
  e.width = right - left;
  return e;
}

using Poses = std::vector<PaperPose>;

class PaperLayer {
 public:
  PaperLayer(const std::vector<PaperToLay>& papers, const geometry::Profile& form,
             const PaperFitOptions& options)
      : papers_(papers), form_(form), options_(options) {
    even_.assign(static_cast<std::size_t>(papers.back().ring) + 1, 0.0);
    for (const PaperToLay& paper : papers) {
      PaperShape shape;
      shape.outline = geometry::resampled(paper.outline, kCoarse_mm);
      shape.mean_square = mean_square_radius(paper.outline);
      for (const Vector2d& p : paper.outline) shape.radius = std::max(shape.radius, p.norm());
      shape.lowest = paper.ring == 1;
      shapes_.push_back(shape);
      extents_.push_back(extent_of(geometry::resampled(paper.outline, 1.0)));
    }
  }

  PaperFit run() {
    for (std::size_t from = 0; from < papers_.size();) {
      std::size_t to = from;
      while (to < papers_.size() && papers_[to].ring == papers_[from].ring) ++to;
      lay_ring(from, to);
      from = to;
    }
    for (const double scale : {2.0, 1.0, 0.7, 0.5}) {
      for (int k = 0; k < 6; ++k) settle_all(scale);
    }
    return result();
  }

 private:
  std::vector<LaidShape> laid(const Poses& poses, double step_mm) const {
    std::vector<LaidShape> out;
    for (std::size_t i = 0; i < poses.size(); ++i)
      out.push_back(laid_shape(form_, shapes_[i], poses[i], step_mm));
    return out;
  }

  // 0: from ring to ring, k: within ring k; the rim is neither.
  std::size_t kind(const Gap& gap) const {
    const int ring = papers_[gap.paper].ring;
    return ring != papers_[static_cast<std::size_t>(gap.beyond)].ring ? 0 : static_cast<std::size_t>(ring);
  }
  double wanted(const Gap& gap) const { return gap.beyond < 0 ? 0.0 : even_[kind(gap)]; }

  struct Equations {
    Eigen::MatrixXd normal;
    Eigen::VectorXd right;
  };

  // Of the places and turns of papers `from` on, three each, and behind them the even widths.
  Equations equations(const std::vector<LaidShape>& laid, std::size_t from, double scale) const {
    const auto n = static_cast<Eigen::Index>(3 * (laid.size() - from));
    const auto all = n + static_cast<Eigen::Index>(even_.size());
    Equations e{Eigen::MatrixXd::Zero(all, all), Eigen::VectorXd::Zero(all)};
    const auto add = [&](Eigen::Index at, const Vector3d& by, double w, double r, const Gap& gap) {
      e.normal.block<3, 3>(at, at) += w * by * by.transpose();
      e.right.segment<3>(at) -= w * r * by;
      if (gap.beyond < 0) return;
      const Eigen::Index even = n + static_cast<Eigen::Index>(kind(gap));
      e.normal.block<3, 1>(at, even) -= w * by;
      e.normal.block<1, 3>(even, at) -= w * by.transpose();
    };
    for (const Gap& gap : find_gaps(form_, shapes_, laid, from, options_.most_gap_mm)) {
      const double r = gap.width - wanted(gap), w = 1 / (1 + r * r / (scale * scale));
      const auto a = static_cast<Eigen::Index>(3 * (gap.paper - from));
      add(a, gap.by_paper, w, r, gap);
      if (gap.beyond < 0) continue;
      const Eigen::Index even = n + static_cast<Eigen::Index>(kind(gap));
      e.normal(even, even) += w, e.right(even) += w * r;
      if (gap.beyond < static_cast<int>(from)) continue;
      const auto b = 3 * (static_cast<Eigen::Index>(gap.beyond) - static_cast<Eigen::Index>(from));
      add(b, gap.by_beyond, w, r, gap);
      e.normal.block<3, 3>(a, b) += w * gap.by_paper * gap.by_beyond.transpose();
      e.normal.block<3, 3>(b, a) += w * gap.by_beyond * gap.by_paper.transpose();
    }
    // What no gap holds (the turn of all about the axis) stays: as stiff as two facing places.
    for (Eigen::Index k = 0; k < all; ++k) e.normal(k, k) += k < n && k % 3 == 2 ? 2 * 100.0 : 2.0;
    return e;
  }

  void move_papers(const Eigen::VectorXd& x, std::size_t from, Poses& poses,
                   std::vector<LaidShape>& laid) const {
    for (std::size_t i = from; i < poses.size(); ++i) {
      Vector3d by = x.segment<3>(static_cast<Eigen::Index>(3 * (i - from)));
      const double way = by.head<2>().norm();
      if (way > 4) by *= 4 / way;
      by.z() = std::clamp(by.z(), -0.1, 0.1);
      poses[i] = moved(form_, poses[i], by);
      laid[i] = laid_shape(form_, shapes_[i], poses[i], kWay_mm);
    }
  }

  void settle(Poses& poses, std::size_t from, int rounds, double scale) const {
    std::vector<LaidShape> now = laid(poses, kWay_mm);
    for (int k = 0; k < rounds; ++k) {
      const Equations e = equations(now, from, scale);
      const Eigen::Index n = e.right.size() - static_cast<Eigen::Index>(even_.size());
      move_papers(e.normal.topLeftCorner(n, n).ldlt().solve(e.right.head(n)), from, poses, now);
    }
  }

  // All papers, and the even widths with them.
  void settle_all(double scale) {
    std::vector<LaidShape> now = laid(poses_, kWay_mm);
    const Equations e = equations(now, 0, scale);
    const Eigen::Index n = e.right.size() - static_cast<Eigen::Index>(even_.size());
    if (one_line_) {
      move_papers(e.normal.topLeftCorner(n, n).ldlt().solve(e.right.head(n)), 0, poses_, now);
      return;
    }
    const Eigen::VectorXd x = e.normal.ldlt().solve(e.right);
    for (std::size_t k = 0; k < even_.size(); ++k)
      even_[k] = std::max(0.0, even_[k] + std::clamp(x(n + static_cast<Eigen::Index>(k)), -1.0, 1.0));
    move_papers(x, 0, poses_, now);
  }

  // Mean over the edges that must face something: of a place that faces nothing, as of one that is far off.
  double cost(const Poses& poses, std::size_t from) const {
    constexpr double kScale = 1.5;
    const std::vector<LaidShape> now = laid(poses, kWay_mm);
    std::vector<std::vector<char>> faced;
    for (const LaidShape& shape : now) faced.emplace_back(shape.points.size(), char{0});
    double sum = 0, n = 0;
    for (const Gap& gap : find_gaps(form_, shapes_, now, from, options_.most_gap_mm)) {
      sum += cauchy(gap.width - wanted(gap), kScale), n += 1;
      faced[gap.paper][gap.point] = 1;
    }
    for (std::size_t i = from; i < now.size(); ++i) {
      for (std::size_t k = 0; k < faced[i].size(); ++k) {
        if (faced[i][k] != 0 ||
            now[i].outward[k].dot(form_.towards_pole(form_.locate(now[i].points[k]).uv)) > -0.5)
          continue;
        sum += cauchy(options_.most_gap_mm, kScale), n += 1;
      }
    }
    return n > 0 ? sum / n : std::numeric_limits<double>::infinity();
  }

  // Where the upper edges of what is laid run at a direction; the rim where nothing is.
  double top_rho(const std::vector<LaidShape>& below, std::size_t from, double theta,
                 double half_angle) const {
    double sum = 0, n = 0;
    for (std::size_t i = from; i < below.size(); ++i) {
      for (std::size_t k = 0; k < below[i].points.size(); ++k) {
        const Vector2d uv = form_.locate(below[i].points[k]).uv;
        const double away = std::remainder(std::atan2(uv.y(), uv.x()) - theta, kFullTurn);
        if (std::abs(away) > half_angle || below[i].outward[k].dot(form_.towards_pole(uv)) < 0.7) continue;
        sum += uv.norm(), n += 1;
      }
    }
    return n > 0 ? sum / n : form_.length();
  }

  // Directions of a ring's pieces from the first, by their widths; what is left over goes between them.
  std::vector<double> directions(std::size_t from, std::size_t to, double rho, double& left_mm) const {
    double taken = 0, radii = 0;
    std::vector<double> share;
    for (std::size_t i = from; i < to; ++i) {
      const double radius = std::max(1.0, form_.at(std::max(1.0, rho - extents_[i].lower)).rz.x());
      share.push_back(extents_[i].width / radius), taken += share.back(), radii += radius;
    }
    const auto n = static_cast<double>(to - from);
    left_mm = (kFullTurn - taken) / n * (radii / n);
    std::vector<double> theta{0};
    for (std::size_t k = 1; k < share.size(); ++k)
      theta.push_back(theta.back() + (share[k - 1] + share[k]) / 2 + (kFullTurn - taken) / n);
    return theta;
  }

  Poses start(std::size_t from, std::size_t to, double rho, const std::vector<LaidShape>& below,
              std::size_t below_from, double turn) const {
    Poses poses = poses_;
    double left = 0;
    const std::vector<double> theta = directions(from, to, rho, left);
    for (std::size_t i = from; i < to; ++i) {
      const double at = theta[i - from] + turn;
      const double half = 0.3 * extents_[i].width / std::max(10.0, form_.at(rho).rz.x());
      const double low = from == 0 ? form_.length() : top_rho(below, below_from, at, half) - even_[0];
      const double middle = std::max(3.0, low - extents_[i].lower);
      poses.push_back(paper_pose(form_, middle * Vector2d(std::cos(at), std::sin(at)), 0));
    }
    return poses;
  }

  void lay_ring(std::size_t from, std::size_t to) {
    if (from == 0) {
      lay_lowest(to);
      return;
    }
    std::size_t below_from = from;
    while (below_from > 0 && papers_[below_from - 1].ring == papers_[from - 1].ring) --below_from;
    const std::vector<LaidShape> below = laid(poses_, kWay_mm);
    const double rho = top_rho(below, below_from, 0, kFullTurn);
    // One paper alone on top lies over the pole, and may be turned anyhow.
    const bool cap = to - from == 1 && to == papers_.size();
    const std::size_t starts = cap ? 36 : kStartsAPiece * std::max<std::size_t>(4, to - from);
    std::vector<Poses> tried(starts);
    std::vector<double> costs(starts);
    core::parallel_for(starts, options_.threads, [&](std::size_t k) {
      const double turn = kFullTurn * static_cast<double>(k) / static_cast<double>(starts);
      if (cap) {
        tried[k] = poses_;
        tried[k].push_back(paper_pose(form_, Vector2d(1e-3, 0), turn));
      } else {
        tried[k] = start(from, to, rho, below, below_from, turn);
      }
      settle(tried[k], from, 3, 5);
      settle(tried[k], from, 5, 2);
      costs[k] = cost(tried[k], from);
    });
    const auto best = std::min_element(costs.begin(), costs.end()) - costs.begin();
    poses_ = tried[static_cast<std::size_t>(best)];
    settle(poses_, from, 8, 1);
  }

  void lay_lowest(std::size_t to) {
    double left = 0;
    directions(0, to, form_.length(), left);
    double width = 0;
    for (std::size_t i = 0; i < to; ++i) width += extents_[i].width / static_cast<double>(to);
    if (left < -0.15 * width || left > 0.4 * width) {
      throw core::MeasureError(fmt::format(
          "the {} papers of ring 1 are {:.0f} mm too {} to stand side by side round this form: is one "
          "missing or in another ring, is it the right form, does their upper edge lie up in the picture?",
          to, std::abs(left) * static_cast<double>(to), left < 0 ? "wide" : "narrow"));
    }
    std::fill(even_.begin(), even_.end(), std::max(0.0, left));
    poses_ = start(0, to, form_.length(), {}, 0, 0);
    for (const double scale : {5.0, 2.0, 1.0}) {
      settle(poses_, 0, 6, scale);
      // The even gap is what is left between edges as they lie now.
      std::vector<double> widths;
      for (const Gap& gap : find_gaps(form_, shapes_, laid(poses_, kWay_mm), 0, options_.most_gap_mm)) {
        if (gap.beyond >= 0) widths.push_back(gap.width);
      }
      std::fill(even_.begin(), even_.end(), std::max(0.0, core::median(widths)));
    }
    one_line_ = options_.one_line.value_or(even_[0] < options_.least_gap_mm);
    if (one_line_) std::fill(even_.begin(), even_.end(), 0.0);
  }

  PaperFit result() {
    PaperFit fit;
    fit.one_line = one_line_;
    fit.between_mm = even_[0];
    fit.beside_mm.assign(even_.begin() + 1, even_.end());
    const Vector2d first = form_.locate(poses_.front().at).uv;
    const double turn = -std::atan2(first.y(), first.x());
    const Eigen::AngleAxisd about(turn, Vector3d::UnitZ());
    for (PaperPose& pose : poses_) pose.at = about * pose.at, pose.across = about * pose.across;
    for (std::size_t i = 0; i < papers_.size(); ++i) shapes_[i].outline = papers_[i].outline;
    const std::vector<LaidShape> now = laid(poses_, kFine_mm);
    for (const LaidShape& shape : now) {
      LaidPaper paper;
      for (const Vector3d& p : shape.points) paper.outline.push_back(form_.locate(p).uv);
      paper.beyond.assign(paper.outline.size(), -1);
      fit.papers.push_back(std::move(paper));
    }
    std::vector<double> squares(papers_.size(), 0), count(papers_.size(), 0);
    double sum = 0, all = 0;
    for (const Gap& gap : find_gaps(form_, shapes_, now, 0, options_.most_gap_mm)) {
      fit.papers[gap.paper].beyond[gap.point] = gap.beyond;
      const double r = std::pow(gap.width - wanted(gap), 2);
      squares[gap.paper] += r, count[gap.paper] += 1, sum += r, all += 1;
    }
    for (std::size_t i = 0; i < papers_.size(); ++i)
      fit.papers[i].misfit_mm = std::sqrt(squares[i] / std::max(1.0, count[i]));
    fit.rms_mm = std::sqrt(sum / std::max(1.0, all));
    return fit;
  }

  const std::vector<PaperToLay>& papers_;
  const geometry::Profile& form_;
  const PaperFitOptions& options_;
  std::vector<PaperShape> shapes_;
  std::vector<Extent> extents_;
  Poses poses_;               // of the papers laid so far
  std::vector<double> even_;  // wanted gaps by kind()
  bool one_line_ = false;
};

}  // namespace

PaperFit lay_papers(const std::vector<PaperToLay>& papers, const geometry::Profile& form,
                    const PaperFitOptions& options) {
  return PaperLayer(papers, form, options).run();
}

}  // namespace interstice::layout
