// The parts of the page, each as HTML. Ids: seam-N is the card of fit.seams[N], step-N a line of the work
// order.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "report/page.h"
#include "report/photo_view.h"

namespace interstice::report {

// A photo or a part of one, as it goes into the page.
struct PagePicture {
  PhotoView view;
  std::string jpeg;
};

struct PagePhotos {
  std::map<std::size_t, PagePicture> close;  // by seam: the flagged seam near by
  struct Whole {
    PagePicture picture;
    std::vector<std::size_t> seams;  // flagged seams it shows best
  };
  std::vector<Whole> whole;
  std::vector<std::string> gone;  // names of photos that should be shown and are no longer there
};

// Photos that show flagged seams best, cut and compressed to fit a page that is easy to send.
PagePhotos take_photos(const PageInput& input);

std::string verdict_class(seams::Verdict verdict);  // "tight" "pinch" "doubt" "unseen" "clear"
std::string verdict_chip(seams::Verdict verdict);   // label with its line style
std::string seam_id(std::size_t index);             // "seam-12"
// Index of the seam of two pieces, in either order; fit.seams.size() if there is none.
std::size_t seam_of(const seams::FitDocument& fit, const std::array<std::string, 2>& tiles);
const seams::FitTile* tile_of(const seams::FitDocument& fit, const std::string& label);
// Where a seam's photo or, without one, its card is: a link.
std::string seam_link(const seams::FitDocument& fit, std::size_t index);

std::string answer_part(const PageInput& input);
std::string work_part(const PageInput& input);
std::string seams_part(const PageInput& input, const PagePhotos& photos);
std::string width_graph(const seams::FitDocument& fit, const seams::FitSeam& seam);
std::string close_up(const seams::FitDocument& fit, std::size_t seam, const PagePicture& picture);
std::string photos_part(const PageInput& input, const PagePhotos& photos);
std::string map_part(const PageInput& input);
std::string model_part(const PageInput& input);
std::string model_json(const PageInput& input);
std::string pour_part(const PageInput& input);
std::string tilt_drawing(const PageInput& input, const SheetPour& pour);
std::string pour_map(const PageInput& input, const SheetPour& pour);
std::string history_part(const PageInput& input);  // empty without earlier scans
std::string quality_part(const PageInput& input);

}  // namespace interstice::report
