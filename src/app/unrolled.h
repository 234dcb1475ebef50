// The unrolled photo of a form with what was traced on it, for looking again at what is doubtful.
//
//   NAME.png    the photos laid out on the form's map
//   NAME.json   {"format": "interstice-unrolled", "version": 1, "mm_per_px", "cx", "cy": pixel of the pole,
//                "width", "height", "look_again": [{"label", "why"}]}; `plan trace NAME.png --form` reads it too
//   NAME.svg    the traced lines and proposed labels over NAME.png; doubtful pieces dashed, with the reason
#pragma once

#include <string>

#include "core/output_file.h"
#include "geometry/ortho_picture.h"
#include "layout/trace.h"

namespace interstice::app {

class UnrolledOutput {
 public:
  // Before any work. Throws InputError when a file cannot be written, or must stay.
  UnrolledOutput(const std::string& png, const core::Inputs& inputs);
  void write(const geometry::OrthoPicture& picture, const layout::TraceResult& traced);

 private:
  std::string name_;  // of the picture, without its folder
  core::OutputFile picture_, scale_, over_;
};

}  // namespace interstice::app
