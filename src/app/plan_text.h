// What the `plan` commands print, for people and as JSON.
#pragma once

#include <string>
#include <vector>

#include "app/plan_work.h"

namespace interstice::app {

std::string form_document(const geometry::Profile& profile, const std::string& name);

void print_form(const layout::FormInput& form, const std::string& out, const CommonOptions& common);
void print_layout(const layout::Layout& layout, const layout::FormInput& form,
                  const layout::LayoutOptions& options, const std::string& out, const CommonOptions& common);
// notes: of the form, one line each.
void print_trace(const layout::TraceResult& result, const std::vector<std::string>& notes,
                 const std::string& out, const CommonOptions& common);
void print_papers(const layout::TraceResult& result, const std::vector<std::string>& notes,
                  const std::string& out, const CommonOptions& common);
void print_patterns(const plan::Plan& plan, const std::vector<solid::PieceGeometry>& pieces,
                    std::size_t sheets, const std::vector<std::string>& written, const CommonOptions& common);
void print_check(const plan::Plan& plan, const layout::PlanCheck& check, const layout::CheckLimits& limits,
                 const CommonOptions& common);
void print_written(const std::vector<std::string>& written, const CommonOptions& common);

}  // namespace interstice::app
