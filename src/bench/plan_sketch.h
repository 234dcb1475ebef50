// A plan at a glance.
#pragma once

#include <cstddef>
#include <string>

namespace interstice::bench {

// The planned pieces on the map, and a sentence about them; throws InputError.
struct PlanSketch {
  std::string svg, about;
  std::size_t pieces = 0;
};
PlanSketch sketch_plan(const std::string& plan_json, const std::string& file);

}  // namespace interstice::bench
