#include "sweep/curves.h"

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>
#include <iterator>
#include <limits>

namespace interstice::sweep {

namespace {

constexpr double kPanelWide = 400, kPanelHigh = 250, kLeft = 52, kRight = 16, kTop = 34, kBottom = 46;
constexpr double kLetter = 6.2;  // width of a letter of the labels
constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

__attribute__((format(printf, 1, 2))) std::string text(const char* format, ...) {
  char buffer[512];
  va_list list;
  va_start(list, format);
  std::vsnprintf(buffer, sizeof buffer, format, list);
  va_end(list);
  return buffer;
}

std::string cell(double value, const char* format) {
  return std::isfinite(value) ? text(format, value) : "-";
}

// A round figure not below the largest value: 1, 2 or 5 times a power of ten.
double round_above(double value) {
  const double power = std::pow(10, std::floor(std::log10(std::max(value, 1e-3))));
  for (const double m : {1.0, 2.0, 5.0}) {
    if (m * power >= value) return m * power;
  }
  return 10 * power;
}

template <class Wanted>
std::vector<RunResult> only(const std::vector<RunResult>& runs, const Wanted& wanted) {
  std::vector<RunResult> out;
  for (const RunResult& run : runs) {
    out.push_back({0, run.smallest_fill_mm, {}});
    std::copy_if(run.seams.begin(), run.seams.end(), std::back_inserter(out.back().seams), wanted);
  }
  return out;
}

class Panel {
 public:
  Panel(const Curve& curve, double x, double y) : curve_(curve), left_(x + kLeft), top_(y + kTop) {
    double most = 0.05;
    for (const Summary& s : curve.points) {
      for (const double v : {s.rms_mm, s.u95_median_mm}) most = std::isfinite(v) ? std::max(most, v) : most;
    }
    most_ = round_above(most);
    low_ = curve.series.points.front().x;
    high_ = curve.series.points.back().x;
  }

  std::string drawn() const {
    std::string out = frame();
    out += line([](const Summary& s) { return s.u95_median_mm; }, "#b3541e", "6 4", 2, false);
    out += line([](const Summary& s) { return s.median_abs_mm; }, "#4a6d8c", "2 3", 1.5, false);
    out += line([](const Summary& s) { return s.rms_mm; }, "#1f4e79", "", 2, true);
    return out;
  }

 private:
  double wide() const { return kPanelWide - kLeft - kRight; }
  double high() const { return kPanelHigh - kTop - kBottom; }
  double px(double x) const {
    const double margin = curve_.series.numbers ? 0.04 : 0.1;
    return left_ + wide() * (margin + (1 - 2 * margin) * (high_ > low_ ? (x - low_) / (high_ - low_) : 0.5));
  }
  double py(double y) const { return top_ + high() * (1 - y / most_); }

  std::string frame() const {
    const Series& s = curve_.series;
    std::string out = text("<text x=\"%.1f\" y=\"%.1f\" class=\"title\">%s%s</text>\n", left_, top_ - 12,
                           s.title.c_str(), s.unit.empty() ? "" : (", " + s.unit).c_str());
    for (int k = 0; k <= 5; ++k) {
      const double v = most_ * k / 5;
      out += text("<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", left_,
                  left_ + wide(), py(v), py(v), k == 0 ? "axis" : "grid");
      out += text("<text x=\"%.1f\" y=\"%.1f\" class=\"side\">%g</text>\n", left_ - 6, py(v) + 4, v);
    }
    // Labels in one row, those that would run into each other in a second, those that find no room left out.
    double ends[2] = {-1e9, -1e9};
    for (const Point& p : s.points) {
      const double half = 0.5 * kLetter * static_cast<double>(p.label.size());
      const int row = px(p.x) - half > ends[0] ? 0 : 1;
      if (px(p.x) - half <= ends[row]) continue;
      ends[row] = px(p.x) + half + 4;
      out += text("<text x=\"%.1f\" y=\"%.1f\" class=\"foot\">%s</text>\n", px(p.x),
                  top_ + high() + 16 + 13 * row, p.label.c_str());
    }
    return out;
  }

  template <class Value>
  std::string line(const Value& value, const char* colour, const char* dashes, double width,
                   bool dots) const {
    std::string path, marks;
    bool pen_down = false;
    for (std::size_t i = 0; i < curve_.points.size(); ++i) {
      const double v = value(curve_.points[i]), x = px(curve_.series.points[i].x);
      if (!std::isfinite(v)) {
        pen_down = false;
        continue;
      }
      path += text("%s%.1f %.1f ", pen_down ? "L" : "M", x, py(v));
      if (dots) marks += text("<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3\" fill=\"%s\"/>\n", x, py(v), colour);
      pen_down = true;
    }
    return "<path d=\"" + path +
           text("\" fill=\"none\" stroke=\"%s\" stroke-width=\"%g\" stroke-dasharray=\"%s\"/>\n", colour,
                width, dashes) +
           marks;
  }

  const Curve& curve_;
  double left_, top_, most_ = 1, low_ = 0, high_ = 1;
};

}  // namespace

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return kNone;
  std::sort(values.begin(), values.end());
  const double at = q * static_cast<double>(values.size() - 1);
  const auto low = static_cast<std::size_t>(at);
  const std::size_t high = std::min(low + 1, values.size() - 1);
  return values[low] + (at - static_cast<double>(low)) * (values[high] - values[low]);
}

Summary summary(const std::vector<RunResult>& runs) {
  Summary s;
  std::vector<double> errors, sizes, u95;
  int covered = 0;
  for (const RunResult& run : runs) {
    s.failed_runs += run.exit_code > 1 ? 1 : 0;
    for (const SeamResult& seam : run.seams) {
      ++s.seams;
      const bool tight = seam.true_mm < run.smallest_fill_mm;
      s.tight_called_clear += tight && seam.verdict == "clear" ? 1 : 0;
      s.clear_called_tight += !tight && seam.verdict == "too tight" ? 1 : 0;
      if (!seam.measured_mm) continue;
      errors.push_back(*seam.measured_mm - seam.true_mm);
      sizes.push_back(std::abs(errors.back()));
      u95.push_back(seam.u95_mm.value_or(0));
      covered += sizes.back() <= u95.back() ? 1 : 0;
    }
  }
  s.measured = static_cast<int>(errors.size());
  double sum = 0, sum2 = 0;
  for (const double e : errors) {
    sum += e;
    sum2 += e * e;
  }
  const double n = errors.empty() ? kNone : static_cast<double>(errors.size());
  s.bias_mm = sum / n;
  s.rms_mm = std::sqrt(sum2 / n);
  s.median_abs_mm = quantile(sizes, 0.5);
  s.p95_abs_mm = quantile(sizes, 0.95);
  s.u95_median_mm = quantile(u95, 0.5);
  s.coverage = covered / n;
  return s;
}

Curve by_true_width(const std::vector<RunResult>& runs) {
  const std::vector<double> edges = {0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 8};
  Curve curve{{"width", "True width of the seam", "mm", true, {}}, {}};
  for (std::size_t k = 0; k + 1 < edges.size(); ++k) {
    const double low = edges[k], high = edges[k + 1];
    curve.series.points.push_back({text("%g-%g", low, high), 0.5 * (low + high), {}});
    curve.points.push_back(summary(only(runs, [&](const SeamResult& seam) {
      return seam.true_mm >= low && (seam.true_mm < high || high == edges.back());
    })));
  }
  return curve;
}

Curve by_ring(const std::vector<RunResult>& runs) {
  Curve curve{{"ring", "Rings of the two pieces", "", false, {}}, {}};
  const auto add = [&](const char* label, const auto& wanted) {
    curve.series.points.push_back({label, static_cast<double>(curve.series.points.size()), {}});
    curve.points.push_back(summary(only(runs, wanted)));
  };
  add("both lowest", [](const SeamResult& s) { return s.upper_ring == 1; });
  add("lowest and next", [](const SeamResult& s) { return s.lower_ring == 1 && s.upper_ring > 1; });
  add("both above", [](const SeamResult& s) { return s.lower_ring > 1; });
  return curve;
}

std::string markdown(const std::vector<Curve>& curves, const std::string& preamble) {
  std::string out = preamble;
  for (const Curve& curve : curves) {
    const Series& series = curve.series;
    out += "\n## " + series.title + (series.unit.empty() ? "" : ", " + series.unit) + "\n\n";
    out +=
        "| value | seams measured | bias mm | RMS mm | median error mm | 95 % of errors mm | median u95 mm | "
        "within u95 | tight "
        "called clear | clear called tight |\n|---|---|---|---|---|---|---|---|---|---|\n";
    for (std::size_t i = 0; i < curve.points.size(); ++i) {
      const Summary& s = curve.points[i];
      out += text("| %s | %d of %d", series.points[i].label.c_str(), s.measured, s.seams);
      out += s.failed_runs > 0 ? text(" (runs refused: %d) | ", s.failed_runs) : std::string(" | ");
      out += cell(s.bias_mm, "%+.3f") + " | " + cell(s.rms_mm, "%.3f") + " | " +
             cell(s.median_abs_mm, "%.3f") + " | " + cell(s.p95_abs_mm, "%.3f") + " | " +
             cell(s.u95_median_mm, "%.3f") + " | " + cell(s.coverage, "%.2f");
      out += text(" | %d | %d |\n", s.tight_called_clear, s.clear_called_tight);
    }
  }
  return out;
}

std::string svg(const std::vector<Curve>& curves) {
  const std::size_t across = 2, down = (curves.size() + across - 1) / across;
  const double wide = kPanelWide * across, high = kPanelHigh * static_cast<double>(down) + 34;
  std::string out = text(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" font-family=\"sans-serif\">\n",
      wide, high);
  out +=
      "<style>.title{font-size:14px;font-weight:bold}.side{font-size:11px;text-anchor:end}.foot{font-size:"
      "11px;text-"
      "anchor:middle}.grid{stroke:#ddd}.axis{stroke:#333}</style>\n";
  out += text("<rect width=\"%.0f\" height=\"%.0f\" fill=\"#fff\"/>\n", wide, high);
  for (std::size_t i = 0; i < curves.size(); ++i) {
    const Panel panel(curves[i], kPanelWide * static_cast<double>(i % across),
                      kPanelHigh * static_cast<double>(i / across));
    out += panel.drawn();
  }
  const double foot = high - 12;
  out += text(
      "<text x=\"52\" y=\"%.1f\" font-size=\"12\">Seam width, mm: <tspan fill=\"#1f4e79\">RMS error "
      "(dots)</tspan>, <tspan "
      "fill=\"#4a6d8c\">median error (dotted)</tspan>, <tspan fill=\"#b3541e\">median stated u95 "
      "(broken)</tspan></text>\n",
      foot);
  return out + "</svg>\n";
}

}  // namespace interstice::sweep
