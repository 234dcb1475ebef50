// form.json of a form measured from photos: the profile as plans take it, and what is known about it.
#pragma once

#include <string>

#include "form/bare_scan.h"
#include "form/shape.h"

namespace interstice::form {

// The photo that shows a place of the form most square on; empty where none does.
std::string best_photo_of(const scan::Scan& scan, const geometry::Profile& form, const Eigen::Vector2d& uv);

// A direction over the bench in words a person can follow: "towards card 3", "between cards 3 and 4".
std::string direction_words(double angle, const std::vector<CardDirection>& cards);

std::string write_form(const Shape& shape, const BareScan& bare, const std::string& name);

}  // namespace interstice::form
