#include "camera/card_consistency.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <Eigen/LU>
#include <Eigen/SVD>
#include <algorithm>
#include <cmath>

#include "camera/corner.h"
#include "core/median.h"

namespace interstice::camera {
namespace {

constexpr int kParameters = 10;  // eight of the homography, two radial
using Parameters = Eigen::Matrix<double, kParameters, 1>;
// Corners are good to a tenth of a pixel or two; nothing closer than this to the fit is called wrong.
constexpr double kNeverWrongPx = 0.6;
// With so few corners the radial terms cannot be told from the homography.
constexpr std::size_t kFewCorners = 10;

// Both planes in units near one: the card by half its length, the picture by half its diagonal.
struct Normalised {
  std::vector<Eigen::Vector2d> card, picture;
  double half_diagonal = 1;
};

Normalised normalise(const CardView& view, int width, int height) {
  Normalised n;
  n.half_diagonal = std::hypot(width, height) / 2;
  const Eigen::Vector2d middle((width - 1) / 2.0, (height - 1) / 2.0);
  for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
    n.card.push_back(card_point(view.corner_id[i]).head<2>() / (kBoardColumns / 2.0 * kSquareMm));
    n.picture.push_back((view.pixel[i] - middle) / n.half_diagonal);
  }
  return n;
}

Eigen::Vector2d model(const Parameters& p, const Eigen::Vector2d& card) {
  Eigen::Matrix3d h;
  h << p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1;
  const Eigen::Vector2d q = map_point(h, card);
  const double r2 = q.squaredNorm();
  return q * (1 + r2 * (p[8] + r2 * p[9]));
}

// Homography by the direct linear transformation.
bool start_homography(const Normalised& n, Parameters& p) {
  Eigen::MatrixXd a(2 * static_cast<Eigen::Index>(n.card.size()), 9);
  for (std::size_t i = 0; i < n.card.size(); ++i) {
    const Eigen::Vector3d c = n.card[i].homogeneous();
    const auto row = 2 * static_cast<Eigen::Index>(i);
    a.row(row) << c.transpose(), Eigen::RowVector3d::Zero(), -n.picture[i].x() * c.transpose();
    a.row(row + 1) << Eigen::RowVector3d::Zero(), c.transpose(), -n.picture[i].y() * c.transpose();
  }
  const Eigen::BDCSVD<Eigen::MatrixXd> svd(a, Eigen::ComputeFullV);
  const Eigen::VectorXd h = svd.matrixV().col(8);
  if (!(std::abs(h[8]) > 1e-9)) return false;
  p.setZero();
  p.head<8>() = h.head<8>() / h[8];
  return true;
}

std::vector<double> misses(const Normalised& n, const Parameters& p) {
  std::vector<double> out;
  for (std::size_t i = 0; i < n.card.size(); ++i) {
    out.push_back((model(p, n.card[i]) - n.picture[i]).norm() * n.half_diagonal);
  }
  return out;
}

double scatter(std::vector<double> miss) {
  return core::median(std::move(miss)) / 1.1774;  // median of a Rayleigh distribution of unit scale
}

// A few damped, reweighted Gauss-Newton steps with derivatives by differences; at most 28 points.
void improve(const Normalised& n, int parameters, Parameters& p) {
  for (int round = 0; round < 12; ++round) {
    const std::vector<double> miss = misses(n, p);
    const double scale = std::max(scatter(miss), kNeverWrongPx / 4);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(parameters, parameters);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(parameters);
    for (std::size_t i = 0; i < n.card.size(); ++i) {
      const double w = 1 / (1 + std::pow(miss[i] / (2 * scale), 2));
      Eigen::MatrixXd j(2, parameters);
      for (int k = 0; k < parameters; ++k) {
        constexpr double kStep = 1e-6;
        Parameters forward = p, back = p;
        forward[k] += kStep, back[k] -= kStep;
        j.col(k) = (model(forward, n.card[i]) - model(back, n.card[i])) / (2 * kStep);
      }
      normal += w * j.transpose() * j;
      right += w * j.transpose() * (n.picture[i] - model(p, n.card[i]));
    }
    normal.diagonal() *= 1 + 1e-9;
    normal.diagonal().array() += 1e-12;
    const Eigen::VectorXd step = normal.ldlt().solve(right);
    if (!step.allFinite()) return;
    p.head(parameters) += step;
    if (step.norm() < 1e-10) return;
  }
}

}  // namespace

void drop_inconsistent_corners(CardView& view, int width, int height) {
  if (view.corner_id.size() < 5) return;
  const Normalised n = normalise(view, width, height);
  Parameters p;
  if (!start_homography(n, p)) return;
  improve(n, view.corner_id.size() < kFewCorners ? 8 : kParameters, p);
  const std::vector<double> miss = misses(n, p);
  const double limit = std::max(kNeverWrongPx, 4 * scatter(miss));
  CardView kept;
  kept.card = view.card;
  for (std::size_t i = 0; i < miss.size(); ++i) {
    if (!(miss[i] <= limit)) continue;
    kept.corner_id.push_back(view.corner_id[i]);
    kept.pixel.push_back(view.pixel[i]);
    kept.sd_px.push_back(view.sd_px[i]);
  }
  view = std::move(kept);
}

}  // namespace interstice::camera
