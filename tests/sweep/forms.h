// Whether what is said of a bare form's meridian holds: many forms of all kinds, rendered, measured without a
// drawing or a lens file, each point's error against its stated uncertainty. Millimetres.
//
// Scale and bench move a form as a whole, so one form tells nothing of them. What they do is known exactly
// (e = scale * p.n, e = height * n_z), so every rendered form is taken with a check line and a paper that are
// known, and its errors are then drawn anew many times with a check line measured by calipers and a paper of
// 0.1 to 0.2 mm.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <string>
#include <vector>

#include "form/budget.h"
#include "renderer/options.h"

namespace interstice::sweep {

struct MeridianError {
  Eigen::Vector2d rz, normal;  // measured place, outward
  double error = 0;            // along the normal, measured less true; check line and paper known
  form::PointBudget budget;
};

struct MeasuredForm {
  std::string name;
  double footprint_mm = 0, length_mm = 0;
  double scale_sd = 0, paper_sd_mm = 0;
  std::vector<MeridianError> points;  // seen, 3 mm and more over the bench
};

// A bare form with pencil lines: shape, size, error of turning, cards, lens, photos, light, noise by `seed`.
renderer::SceneOptions bare_form_scene(int seed);

// Renders and measures. Files go below `work` and are removed.
MeasuredForm measure_rendered_form(const std::filesystem::path& work, const renderer::SceneOptions& scene,
                                   int threads);

// What a measured form is kept in.
std::string form_text(const MeasuredForm& form);
MeasuredForm form_of_text(const std::string& text);

struct FormCoverage {
  std::size_t forms = 0, points = 0;
  double rms_mm = 0;        // of errors
  double within_u95 = 0;    // share of points, mean over forms
  double squares = 0;       // of error over u, mean over a form's points, then over forms
  double forms_all_in = 0;  // share of forms all of whose points lie inside
};

// Errors as photos and uneven cards make them, against the budget without scale and paper.
FormCoverage coverage_of_photos(const std::vector<MeasuredForm>& forms);
// With scale and paper drawn `draws` times a form, against the whole budget.
FormCoverage coverage_of_all(const std::vector<MeasuredForm>& forms, int draws);

}  // namespace interstice::sweep
