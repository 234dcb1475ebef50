// Papers from a flatbed on a page of its own, a file: tapped in the order of their names, handed back as the file
// that `plan paper --labels` takes. Loads nothing and sends nothing.
#pragma once

#include <string>
#include <vector>

#include "layout/paper_scan.h"

namespace interstice::bench {

// `pictures`: one a page, as data: addresses.
std::string papers_page(const std::vector<layout::PaperPage>& pages,
                        const std::vector<std::string>& pictures);

}  // namespace interstice::bench
