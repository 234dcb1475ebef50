#include "refill/refill.h"

#include <algorithm>
#include <cmath>

#include "core/errors.h"
#include "core/parallel.h"
#include "refill/band.h"
#include "refill/band_views.h"
#include "refill/fill_limit.h"
#include "refill/hollow_depth.h"
#include "refill/hollow_size.h"
#include "refill/hollows.h"
#include "refill/next_pour.h"
#include "refill/poured_check.h"
#include "refill/refill_words.h"
#include "refill/registration.h"
#include "refill/resin_evidence.h"
#include "refill/seam_states.h"

namespace interstice::refill {
namespace {

std::string best_photo(const scan::Scan& scan, const BandViews& views, const Patch& patch) {
  std::vector<double> worth(scan.photos.size(), 0);
  for (const CellIndex i : patch.cells) {
    for (std::size_t v = views.first[i.value]; v < views.first[i.value + 1]; ++v) {
      const scan::ScannedPhoto& photo = scan.photos[views.views[v].photo];
      worth[views.views[v].photo.value] +=
          static_cast<double>(views.views[v].cosine) * photo.lens.fx / (photo.centre() - patch.at).norm();
    }
  }
  const auto best = std::max_element(worth.begin(), worth.end());
  if (best == worth.end() || *best <= 0) return "";
  return scan.photos[geometry::PhotoIndex(static_cast<std::size_t>(best - worth.begin()))].info.name;
}

// The patches that join, by cell; numbers beyond them where none is.
std::vector<std::size_t> group_of_cells(const Band& band, const std::vector<Patch>& patches) {
  std::vector<std::size_t> out(band.cells().size(), static_cast<std::size_t>(-1));
  for (const Patch& p : patches) {
    for (const CellIndex i : p.cells) out[i.value] = p.group;
  }
  return out;
}

Hollow describe(const Sights& sights, const Patch& p, const std::vector<std::size_t>& groups,
                const plan::Plan& plan) {
  Hollow h;
  h.kind = p.kind;
  h.tiles = {plan.tiles[p.tiles[0]].label, plan.tiles[p.tiles[1]].label};
  h.map = p.map, h.at = p.at, h.normal = p.normal, h.along = p.along;
  h.rim = p.rim;
  h.hue_share = p.hue_share;
  h.shade = p.shade;
  h.best_photo = best_photo(sights.scan, sights.views, p);
  add_size(sights.band, sights.look, p, depth_of(sights, p, groups), h);
  return h;
}

// Views that disagree over the seams as they do over open ones, and dark ones among them: nothing was poured.
void refuse_open_seams(const scan::Scan& scan, const Pictures& pictures, const seams::FitDocument& dry,
                       int threads) {
  const auto views = seam_views(scan, pictures, dry, threads);
  if (!views || !views->surely_open()) return;
  throw core::MeasureError(
      "the seams stand open in these photos: they show the shell before a pour, or one that filled hardly "
      "anything; measure it with interstice inspect");
}

// Leans, advice, and this maker's own smallest fill.
void add_next_pour(const seams::FitDocument& dry, const plan::Plan& plan, const RefillOptions& options,
                   RefillDocument& document) {
  std::vector<SeamOutcome> outcomes;
  for (const RefillSeam& s : document.seams) {
    if (s.state != SeamState::unseen && s.width_mm)
      outcomes.push_back({*s.width_mm, s.state == SeamState::filled});
  }
  if (const auto limit = fit_limit(outcomes, document.fill_limit_words)) {
    const double u95 = std::max(limit->high_mm - limit->width_mm, limit->width_mm - limit->low_mm);
    document.fill_limit = FillLimit{limit->width_mm, u95, outcomes.size()};
  }
  document.cautions = refill_cautions();
  document.pours = plan_refill(document.hollows, plan);
  document.advice =
      advise(document.hollows, document.fill_limit ? document.fill_limit->width_mm : dry.smallest_fill_mm,
             options.resin);
}

}  // namespace

RefillResult look_after_pour(const scan::Scan& scan, const seams::FitDocument& dry, const plan::Plan& plan,
                             const RefillOptions& options) {
  RefillResult result;
  RefillDocument& document = result.document;
  document.name = dry.name;
  const channels::ShellSolids shell = channels::solids_of(dry, plan);
  options.progress("finding the pieces again");
  const Pictures pictures = surface::read_pictures(scan, 0, true, options.threads);
  const Registration registration = register_to_dry(scan, pictures, dry, options.threads);
  result.scan = in_dry_frame(scan, registration);
  document.quality = {scan.quality.photos_given, static_cast<int>(scan.photos.size()),
                      registration.pieces,       registration.agreeing,
                      registration.residual_mm,  scan.quality.pixel_footprint_mm,
                      registration.scale};
  refuse_open_seams(result.scan, pictures, dry, options.threads);
  options.progress("looking into the seams");
  const Band band(shell, dry, options.threads);
  const BandViews views = view_band(result.scan, pictures, band, options.threads);
  const auto wood = wood_codes(result.scan, pictures, band, options.threads);
  const ResinLook look = weigh_resin(band, views, wood, scan.photos.size(), options.threads);
  const std::vector<Patch> patches = find_hollows(band, look);
  document.seams = seam_states(band, look, patches, dry);
  document.hollows.resize(patches.size());
  const std::vector<std::size_t> groups = group_of_cells(band, patches);
  const Sights sights{result.scan, band, views, wood, look};
  core::parallel_for(patches.size(), options.threads, [&](std::size_t k) {
    document.hollows[k] = describe(sights, patches[k], groups, plan);
  });
  add_next_pour(dry, plan, options, document);
  return result;
}

}  // namespace interstice::refill
