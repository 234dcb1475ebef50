// Names by tapping: the traced pieces over the unrolled photo of the form, tapped in the order of their names.
//
//   BOWL/unrolled.png, unrolled.json   the picture that tracing wrote, its scale, places to look at again
//        labels.csv                    a line each: proposed, wanted; as `plan trace --labels` takes it
//
// The plan carries the wanted names at once. Once a ring is measured under its names they stay.
#pragma once

#include "bench/folder.h"
#include "bench/message.h"
#include "bench/services.h"

namespace interstice::bench {

// Where tracing puts the picture.
std::filesystem::path unrolled_picture(const Folder& folder, const Bowl& bowl);

// Whether the pieces can be named, or named anew.
bool may_be_named(const Folder& folder, const Bowl& bowl);

// "names" (the page, and what it sends), "labels.csv", "unrolled.png" below /b/BOWL.
Response naming_answer(const Services& services, const Request& request, const Bowl& bowl);

}  // namespace interstice::bench
