#include "app/form_text.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "core/errors.h"
#include "core/median.h"
#include "form/form_document.h"

namespace interstice::app {
namespace {

constexpr double kTold_mm = 0.3;  // less than this out of round, and a turned form is round
constexpr double kTold_deg = 0.2;

double median_u95(const form::Shape& shape) {
  std::vector<double> seen;
  for (std::size_t i = 0; i < shape.u95_mm.size(); ++i) {
    if (shape.seen[i]) seen.push_back(shape.u95_mm[i]);
  }
  return core::median(std::move(seen));
}

double most_u95(const form::Shape& shape) {
  double most = 0;
  for (std::size_t i = 0; i < shape.u95_mm.size(); ++i) {
    if (shape.seen[i]) most = std::max(most, shape.u95_mm[i]);
  }
  return most;
}

void roundness_notes(const BareForm& form, std::vector<std::string>& out) {
  const form::Shape& shape = form.shape;
  const auto most = [&](auto value) {
    return std::max_element(shape.rings.begin(), shape.rings.end(),
                            [&](const auto& a, const auto& b) { return a.*value < b.*value; });
  };
  const auto oval = most(&form::Ring::oval_mm), uneven = most(&form::Ring::out_of_round_mm);
  if (shape.rings.empty()) return;
  if (oval->oval_mm > kTold_mm) {
    out.push_back(fmt::format("oval by up to {:.1f} mm, at a height of {:.0f} mm: widest {}", oval->oval_mm,
                              oval->z_mm, form::direction_words(oval->oval_angle, form.bare.cards)));
  }
  out.push_back(uneven->out_of_round_mm > kTold_mm
                    ? fmt::format("out of round by up to {:.1f} mm, at a height of {:.0f} mm",
                                  uneven->out_of_round_mm, uneven->z_mm)
                    : fmt::format("round to {:.1f} mm", std::max(0.1, uneven->out_of_round_mm)));
  if (shape.lean_deg > kTold_deg) {
    out.push_back(fmt::format("it leans by {:.1f} degrees {}: its rim is not square to its axis",
                              shape.lean_deg, form::direction_words(shape.lean_angle, form.bare.cards)));
  }
  constexpr std::size_t kMost = 5;
  for (std::size_t i = 0; i < std::min(kMost, shape.bumps.size()); ++i) {
    const form::Bump& b = shape.bumps[i];
    out.push_back(fmt::format(
        "a {} of {:.1f} mm, {:.0f} mm across, {} at a height of {:.0f} mm (best seen in {})",
        b.height_mm > 0 ? "bump" : "hollow", std::abs(b.height_mm), b.across_mm,
        form::direction_words(std::atan2(b.uv.y(), b.uv.x()), form.bare.cards), shape.profile.point(b.uv).z(),
        core::one_line(form::best_photo_of(form.bare.scan, shape.profile, b.uv), 60)));
  }
  if (shape.bumps.size() > kMost)
    out.push_back(fmt::format("and {} smaller ones", shape.bumps.size() - kMost));
}

}  // namespace

std::vector<std::string> form_notes(const BareForm& form) {
  const form::Shape& shape = form.shape;
  const scan::Scan& scan = form.bare.scan;
  std::vector<std::string> out;
  out.push_back(
      fmt::format("measured from {} of {} photos; the meridian is sure to {:.2f} mm (at worst {:.2f} mm)",
                  scan.photos.size(), scan.quality.photos_given, median_u95(shape), most_u95(shape)));
  roundness_notes(form, out);
  constexpr double kTold_mm_of_pole = 6;
  if (shape.unseen_pole_mm > kTold_mm_of_pole) {
    out.push_back(
        fmt::format("the top is not in the photos ({:.0f} mm from the pole): it is gone on with by its bend; "
                    "photograph it from above for more",
                    shape.unseen_pole_mm));
  }
  out.push_back(fmt::format("the lowest {:.0f} mm along the side are gone on with: the bench is in the way",
                            shape.unseen_rim_mm));
  if (shape.seen_share < 0.5) {
    out.push_back(
        fmt::format("only {:.0f} % of it have something to compare; more pencil lines make it surer",
                    100 * shape.seen_share));
  }
  if (!scan.quality.check_line_given) {
    out.push_back(
        "the cards' prints are taken at 100 %: measure a check line and give --check-line for a "
        "sure size");
  }
  for (const scan::LeftOut& l : scan.left_out)
    out.push_back("left out: " + core::one_line(l.photo, 80) + ": " + l.reason);
  return out;
}

void print_measured_form(const BareForm& form, const std::string& out, const CommonOptions& common) {
  const geometry::Profile& profile = form.shape.profile;
  double across = 0;
  for (const Eigen::Vector2d& p : profile.points()) across = std::max(across, 2 * p.x());
  const double rim = 2 * profile.points().back().x(), height = profile.points().front().y();
  if (common.json) {
    nlohmann::ordered_json doc =
        nlohmann::ordered_json::parse(form::write_form(form.shape, form.bare, "form"));
    doc.erase("name"), doc.erase("profile"), doc.erase("u95_mm");
    doc["across_mm"] = std::round(across * 100) / 100;
    doc["rim_mm"] = std::round(rim * 100) / 100;
    doc["height_mm"] = std::round(height * 100) / 100;
    doc["u95_median_mm"] = std::round(median_u95(form.shape) * 1000) / 1000;
    doc["notes"] = form_notes(form);
    if (!out.empty()) doc["written"] = out;
    std::printf("%s\n", doc.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
    return;
  }
  if (common.quiet) return;
  std::printf("form: %.1f mm across, rim %.1f mm, %.1f mm high, %.1f mm from pole to rim\n", across, rim,
              height, profile.length());
  for (const std::string& note : form_notes(form)) std::printf("%s\n", note.c_str());
  if (!out.empty()) std::printf("written: %s\n", out.c_str());
}

}  // namespace interstice::app
