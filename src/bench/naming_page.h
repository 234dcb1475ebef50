// The page on which pieces are tapped and named.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/folder.h"
#include "plan/plan.h"

namespace interstice::bench {

// The form's photos laid out on its map; pixel (cx, cy) is the pole, u to the right, v up.
struct UnrolledPicture {
  double mm_per_px = 0, cx = 0, cy = 0;
  int width_px = 0, height_px = 0;
  struct LookAgain {
    std::string label, why;
  };
  std::vector<LookAgain> look_again;  // labels as proposed
};

// Works without a picture too: the pieces' outlines alone.
std::string naming_page(const Bowl& bowl, const plan::Plan& plan,
                        const std::optional<UnrolledPicture>& picture);

}  // namespace interstice::bench
