// Poured scenes: what is poured, under which light, onto which wood; and a run over one of them.
//
// A dry shell is rendered and inspected as its maker would before the pour; the same shell is photographed anew
// after it, from other places, and given to `refill` with the dry result.
#pragma once

#include <string>
#include <vector>

#include "sweep/pour_score.h"
#include "sweep/runs.h"

namespace interstice::sweep {

// A third of a small form, or all rings of one as large as makers turn, from as many photos as they take.
enum class PouredShell { third, whole };

struct PourPoint {
  std::string label;                  // in the table and in file names
  std::vector<std::string> wood;      // settings of the shell itself, for the dry scan too
  std::vector<std::string> settings;  // of resin and light after the pour
  PouredShell shell = PouredShell::third;
};

std::vector<PourPoint> pour_points();

// The shell of a point before the pour, and the scene after it.
renderer::SceneOptions dry_scene(const PourPoint& point, int seed);
renderer::SceneOptions poured_scene(const PourPoint& point, int seed);

// Renders, inspects and refills below the work folder unless its result is already there.
PourScore run_pour(const Programs& programs, const PourPoint& point, int seed,
                   const std::filesystem::path& lens);

}  // namespace interstice::sweep
