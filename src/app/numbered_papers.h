// The scanned papers with their outlines and numbers over them, to write the labels' file from.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "layout/paper_scan.h"

namespace interstice::app {

// An SVG of all pages, one under the other, their pictures within it. One picture a page.
std::string numbered_papers(const std::vector<layout::PaperPage>& pages,
                            const std::vector<cv::Mat>& pictures);

// The same as a page on which they are tapped in the order of their names (bench/papers_page.h).
std::string papers_to_tap(const std::vector<layout::PaperPage>& pages, const std::vector<cv::Mat>& pictures);

}  // namespace interstice::app
