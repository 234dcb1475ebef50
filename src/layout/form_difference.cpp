#include "layout/form_difference.h"

#include <cmath>

namespace interstice::layout {

using Eigen::Vector2d;

FormDifference form_difference(const geometry::Profile& measured, const std::vector<char>& counts,
                               const geometry::Profile& drawn) {
  FormDifference d;
  double squares = 0, n = 0;
  const std::vector<Vector2d>& rz = measured.points();
  for (std::size_t i = 0; i < rz.size(); ++i) {
    if (!counts.empty() && !counts[i]) continue;
    const double off = drawn.locate({rz[i].x(), 0, rz[i].y()}).height;
    squares += off * off, n += 1;
    if (std::abs(off) > std::abs(d.worst_mm)) d.worst_mm = off, d.worst_z_mm = rz[i].y();
  }
  d.rms_mm = n > 0 ? std::sqrt(squares / n) : 0;
  d.rim_mm = 2 * (rz.back().x() - drawn.points().back().x());
  d.height_mm = rz.front().y() - drawn.points().front().y();
  return d;
}

}  // namespace interstice::layout
