// What the `plan` commands print, for people and as JSON.
#pragma once

#include <string>
#include <vector>

#include "app/plan_work.h"

namespace interstice {

std::string form_document(const Profile& profile, const std::string& name);

void print_form(const FormInput& form, const std::string& out, const CommonOptions& common);
void print_layout(const Layout& layout, const FormInput& form, const LayoutOptions& options,
                  const std::string& out, const CommonOptions& common);
void print_trace(const TraceResult& result, const std::string& out, const CommonOptions& common);
void print_patterns(const Plan& plan, const std::vector<PieceGeometry>& pieces, std::size_t sheets,
                    const std::vector<std::string>& written, const CommonOptions& common);
void print_check(const Plan& plan, const PlanCheck& check, const CheckLimits& limits,
                 const CommonOptions& common);
void print_written(const std::vector<std::string>& written, const CommonOptions& common);

}  // namespace interstice
