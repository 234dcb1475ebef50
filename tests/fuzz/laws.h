// What must hold of anything a reader accepted, whatever the bytes: finite, within the limits the readers
// state, of one piece. Stated here by itself, without the readers' own checks; what does not hold ends the
// process.
#pragma once

#include <string>

#include "camera/lens.h"
#include "plan/plan.h"
#include "seams/fit_document.h"

namespace interstice::fuzz {

// Says which law is broken, and std::abort().
[[noreturn]] void broken(const char* law, const std::string& detail);
void require(bool holds, const char* law, const std::string& detail = "");
bool within(double x, double low, double high);  // false for NaN

void check_document(const std::string& json);  // of any accepted JSON text: how deep it is nested
void check_plan(const plan::Plan& plan);
void check_lens(const camera::Lens& lens);  // pixels of the whole border go out as rays and come back
void check_fit(const seams::FitDocument& fit);
void check_form(const geometry::Profile& profile);

}  // namespace interstice::fuzz
