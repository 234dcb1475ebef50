// What is told of a form measured from photos.
#pragma once

#include <string>
#include <vector>

#include "app/commands.h"
#include "app/plan_scan.h"

namespace interstice::app {

// What a maker should know of it, one line each: how sure, how far from round, what was not seen, left out.
std::vector<std::string> form_notes(const BareForm& form);

void print_measured_form(const BareForm& form, const std::string& out, const CommonOptions& common);

}  // namespace interstice::app
