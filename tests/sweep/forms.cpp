#include "sweep/forms.h"

#include <algorithm>
#include <cmath>
#include <random>
#include <sstream>

#include "core/errors.h"
#include "form/bare_scan.h"
#include "form/shape.h"
#include "renderer/random.h"
#include "renderer/scan_folder.h"

namespace interstice::sweep {

namespace fs = std::filesystem;
using Eigen::Vector2d;

namespace {

constexpr double kLowest_mm = 3;  // the rim itself is no measured place
constexpr double kPaperHalf_mm = 0.05;

// Mean height of the cards' print over the bench, as rendered.
double print_height(const renderer::SceneOptions& scene) {
  double sum = 0;
  const std::vector<renderer::CardPlace> cards = renderer::place_cards(scene, 0);
  for (const renderer::CardPlace& card : cards)
    sum += card.frame.origin.z() / static_cast<double>(cards.size());
  return sum;
}

// The form as it was turned, as measured from cards whose print lies as high as the program takes it to.
geometry::Profile true_profile(const renderer::Scene& scene, double up_mm) {
  std::vector<Vector2d> rz;
  for (double rho = 0; rho < scene.form.length_mm() + 2; rho += 0.5) {
    rz.push_back(scene.form.meridian(rho) + scene.form.error_mm(rho) * scene.form.meridian_normal(rho) +
                 Vector2d(0, up_mm));
  }
  rz.front().x() = 0;
  return geometry::Profile(rz);
}

bool can_be_laid_out(const renderer::SceneOptions& options) {
  try {
    renderer::make_scene(options);
    return true;
  } catch (const core::InputError&) {
    return false;
  }
}

}  // namespace

renderer::SceneOptions bare_form_scene(int seed) {
  renderer::Random random(renderer::key(77, static_cast<std::uint64_t>(seed)));
  renderer::SceneOptions o;
  o.name = "form_" + std::to_string(seed);
  o.seed = static_cast<std::uint64_t>(seed);
  o.form.rim_radius_mm = random.between(45, 110);
  o.form.height_mm = o.form.rim_radius_mm * random.between(0.45, 1.15);
  o.form.fullness = random.between(2, 2.7);
  o.form.cut = random.unit() < 0.4 ? random.between(0.1, 0.45) : 0;
  o.form.error_mm = random.between(-0.8, 0.8);
  o.layout.piece_size_mm = random.between(28, 40);
  o.layout.thickness_mm = 5, o.layout.corner_radius_mm = 2, o.layout.planned_gap_mm = 2.5;
  o.layout.rings_placed = 1, o.layout.missing = 1000;  // none glued on
  o.look.form_grey = random.between(0.45, 0.7);
  o.look.side_light = random.unit() < 0.4 ? random.between(0.2, 1) : 0;
  o.cards.cards = {1, 2, 3, 4};
  if (random.unit() < 0.6) o.cards.cards.push_back(5);
  if (o.cards.cards.size() == 5 && random.unit() < 0.5) o.cards.cards.push_back(6);
  o.cards.print_scale = random.between(0.985, 1.015);
  o.camera.width_px = 1280, o.camera.height_px = 960;
  o.camera.focal_px = 1280 * random.between(0.65, 1.0);
  o.camera.k1 = random.between(-0.1, 0.08), o.camera.k2 = random.between(-0.1, 0.08), o.camera.k3 = 0;
  o.camera.p1 = random.between(-5e-4, 5e-4), o.camera.p2 = random.between(-5e-4, 5e-4);
  o.camera.photos = static_cast<int>(random.between(12, 22));
  o.camera.blur_px = random.between(0.45, 0.9);
  o.camera.noise = random.between(1, 4);
  o.camera.sharpen = random.between(0, 0.6);
  o.camera.jpeg_quality = static_cast<int>(random.between(85, 96));
  o.sampling = {1, 4, 12, 1.4, 1};  // a coarser mesh lies inside the form by its chords' sagitta
  // Cards and form fill the picture.
  double reach = 0;
  for (const renderer::CardPlace& card : renderer::place_cards(o, 0))
    reach = std::max(reach, card.frame.origin.head<2>().norm() + 50);
  o.camera.footprint_mm = 2 * reach / 1280 * random.between(0.95, 1.1);
  // A small or steep form has no room for small pieces.
  while (!can_be_laid_out(o) && o.layout.piece_size_mm < o.form.rim_radius_mm) o.layout.piece_size_mm *= 1.2;
  return o;
}

MeasuredForm measure_rendered_form(const fs::path& work, const renderer::SceneOptions& options, int threads) {
  const fs::path folder = work / options.name;
  renderer::SceneOptions wanted = options;
  wanted.sampling.threads = threads;
  const renderer::Scene scene = renderer::make_scene(wanted);
  renderer::write_scan_folder(scene, folder);
  scan::ScanOptions how;
  how.check_line_mm = 150 * options.cards.print_scale;
  how.threads = threads;
  form::BareScan bare = form::scan_bare_form(folder / "photos", how);
  form::ShapeOptions shape_options;
  shape_options.scale_sd = bare.scan.quality.scale_sd;
  shape_options.cards_uneven_mm = bare.cards_uneven_mm;
  shape_options.threads = threads;
  const form::Shape shape = form::measure_shape(bare.scan, bare.rough, shape_options).shape;
  fs::remove_all(folder);

  const geometry::Profile truth = true_profile(scene, form::kPaper_mm - print_height(options));
  MeasuredForm out;
  out.name = options.name;
  out.footprint_mm = bare.scan.quality.pixel_footprint_mm, out.length_mm = shape.profile.length();
  out.scale_sd = bare.scan.quality.scale_sd, out.paper_sd_mm = form::kPaperSd_mm;
  for (std::size_t i = 0; i < shape.seen.size(); ++i) {
    const Vector2d p = shape.profile.points()[i];
    if (!shape.seen[i] || p.y() < kLowest_mm) continue;
    const geometry::MapPoint at = truth.locate({p.x(), 0, p.y()});
    const geometry::MeridianPoint on = truth.at(at.uv.norm());
    out.points.push_back({p, on.normal, at.height, shape.budget[i]});
  }
  return out;
}

std::string form_text(const MeasuredForm& form) {
  std::ostringstream out;
  out.precision(7);
  out << form.name << " " << form.footprint_mm << " " << form.length_mm << " " << form.scale_sd << " "
      << form.paper_sd_mm << "\n";
  for (const MeridianError& p : form.points) {
    const form::PointBudget& b = p.budget;
    out << p.rz.x() << " " << p.rz.y() << " " << p.normal.x() << " " << p.normal.y() << " " << p.error << " "
        << b.scatter << " " << b.poses << " " << b.scale << " " << b.bench << " " << b.shared << " " << b.bend
        << "\n";
  }
  return out.str();
}

MeasuredForm form_of_text(const std::string& text) {
  std::istringstream in(text);
  MeasuredForm form;
  in >> form.name >> form.footprint_mm >> form.length_mm >> form.scale_sd >> form.paper_sd_mm;
  MeridianError p;
  form::PointBudget& b = p.budget;
  while (in >> p.rz.x() >> p.rz.y() >> p.normal.x() >> p.normal.y() >> p.error >> b.scatter >> b.poses >>
         b.scale >> b.bench >> b.shared >> b.bend) {
    form.points.push_back(p);
  }
  return form;
}

namespace {

struct FormSums {
  double squares = 0, of_u = 0, within = 0, all_in = 0;  // means over a form's points
};

template <class Error, class Uncertainty>
FormSums sums_of(const MeasuredForm& form, const Error& error, const Uncertainty& u) {
  FormSums s;
  const auto n = static_cast<double>(form.points.size());
  for (const MeridianError& p : form.points) {
    const double e = error(p), sd = u(p);
    s.squares += e * e / n, s.of_u += e * e / (sd * sd) / n, s.within += (std::abs(e) <= 2 * sd) / n;
  }
  s.all_in = s.within > 1 - 0.5 / n;
  return s;
}

FormCoverage coverage_of(const std::vector<FormSums>& sums, const std::vector<MeasuredForm>& forms) {
  FormCoverage c;
  c.forms = forms.size();
  for (const MeasuredForm& form : forms) c.points += form.points.size();
  const auto n = static_cast<double>(sums.size());
  double squares = 0;
  for (const FormSums& s : sums)
    squares += s.squares / n, c.squares += s.of_u / n, c.within_u95 += s.within / n,
        c.forms_all_in += s.all_in / n;
  c.rms_mm = std::sqrt(squares);
  return c;
}

}  // namespace

FormCoverage coverage_of_photos(const std::vector<MeasuredForm>& forms) {
  std::vector<FormSums> sums;
  for (const MeasuredForm& form : forms) {
    sums.push_back(sums_of(
        form, [](const MeridianError& p) { return p.error; },
        [&](const MeridianError& p) {
          form::PointBudget b = p.budget;
          // Cards that lie unevenly stay in it: these do.
          const double paper = form.paper_sd_mm * p.normal.y();
          b.scale = 0, b.bench = std::sqrt(std::max(0.0, b.bench * b.bench - paper * paper));
          return b.u();
        }));
  }
  return coverage_of(sums, forms);
}

FormCoverage coverage_of_all(const std::vector<MeasuredForm>& forms, int draws) {
  std::vector<FormSums> sums;
  std::mt19937 random(5);
  std::normal_distribution<double> normal(0, 1);
  std::uniform_real_distribution<double> even(-kPaperHalf_mm, kPaperHalf_mm);
  for (const MeasuredForm& form : forms) {
    for (int k = 0; k < draws; ++k) {
      const double scale = form.scale_sd * normal(random), paper = even(random);
      sums.push_back(sums_of(
          form,
          [&](const MeridianError& p) { return p.error + scale * p.rz.dot(p.normal) + paper * p.normal.y(); },
          [](const MeridianError& p) { return p.budget.u(); }));
    }
  }
  return coverage_of(sums, forms);
}

}  // namespace interstice::sweep
