#include "app/result_input.h"

#include <filesystem>

#include "core/errors.h"

namespace interstice::app {

namespace fs = std::filesystem;

std::string scan_in(const std::string& given) {
  const fs::path folder(given);
  if (!fs::exists(folder / "cameras.json") && fs::exists(folder / "scan" / "cameras.json"))
    return (folder / "scan").string();
  return given;
}

std::string fit_in(const std::string& given) {
  return fs::is_directory(given) ? (fs::path(given) / "fit.json").string() : given;
}

std::string plan_for(const std::string& named, const std::string& given) {
  if (!named.empty()) return named;
  fs::path folder = fs::path(given).lexically_normal();
  if (!folder.has_filename()) folder = folder.parent_path();  // "result/"
  const bool of_results = fs::is_directory(folder) && !fs::exists(folder / "cameras.json");
  const fs::path plan = (of_results ? folder : folder.parent_path()) / "plan.json";
  if (!fs::exists(plan)) throw core::InputError(plan.string(), "not there; name the plan with --plan");
  return plan.string();
}

}  // namespace interstice::app
