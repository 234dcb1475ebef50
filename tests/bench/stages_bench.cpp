// The measuring stages on the demo scan, one benchmark each, every one with the results of the stages before
// it at hand. CPU time is the process's: the stages work on several threads.
#include <benchmark/benchmark.h>

#include "camera/cards.h"
#include "camera/photo.h"
#include "edges/face_start.h"
#include "edges/outline_registration.h"
#include "edges/trace_arris.h"
#include "plan/piece_model.h"
#include "pour/plan_pours.h"
#include "report/page.h"
#include "report/photo_marks.h"
#include "rework/corrections.h"
#include "scan/features.h"
#include "scan/tie_points.h"
#include "seams/fit.h"
#include "surface/map_picture.h"
#include "surface/surface.h"

namespace interstice {
namespace {

const std::filesystem::path kFolder = std::filesystem::path(INTERSTICE_SOURCE_DIR) / "datasets" / "plover";

// Everything measured once, for the benchmarks of the later stages.
struct Measured {
  plan::Plan plan = plan::read_plan(kFolder / "plan.json");
  scan::Scan scan;
  surface::Surface surface;
  seams::FitDocument fit;
  pour::PourDocument pour;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures, dense;
};

scan::ScanOptions scan_options() {
  scan::ScanOptions options;
  options.check_line_mm = 150.0;
  return options;
}

const Measured& measured() {
  static const Measured all = [] {
    Measured m;
    surface::AlignedScan aligned =
        surface::align_to_plan(scan::scan_photos(kFolder / "photos", m.plan, scan_options()), m.plan, {});
    m.scan = std::move(aligned.scan);
    m.surface = std::move(aligned.surface);
    m.fit = seams::fit_pieces(m.scan, m.surface, m.plan, {});
    m.pour = pour::plan_pours(m.fit, m.plan, {}, {});
    m.pictures = surface::read_pictures(m.scan, 0, true, 0);
    m.dense = surface::read_pictures(m.scan, 0.6, true, 0);
    return m;
  }();
  return all;
}

const camera::PhotoInfo& first_photo() {
  static const camera::PhotoInfo info =
      camera::read_photo_info(camera::list_photos(kFolder / "photos").front());
  return info;
}

void decode_grey(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(camera::read_photo_grey(first_photo()));
}

void decode_colour(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(camera::read_photo_colour(first_photo()));
}

void find_cards(benchmark::State& state) {
  const cv::Mat grey = camera::read_photo_grey(first_photo());
  std::size_t cards = 0;
  for (auto _ : state) cards = camera::detect_cards(grey).size();
  state.counters["cards"] = static_cast<double>(cards);
}

void features(benchmark::State& state) {
  const cv::Mat grey = camera::read_photo_grey(first_photo());
  const cv::Mat everywhere(grey.size(), CV_8U, cv::Scalar(255));
  for (auto _ : state) benchmark::DoNotOptimize(scan::find_features(grey, everywhere, 7000));
}

// Cards, features, ties and the adjustment.
void whole_scan(benchmark::State& state) {
  const plan::Plan plan = plan::read_plan(kFolder / "plan.json");
  for (auto _ : state) benchmark::DoNotOptimize(scan::scan_photos(kFolder / "photos", plan, scan_options()));
}

void turn(benchmark::State& state) {
  const Measured& m = measured();
  const surface::MapGrid grid = surface::MapGrid::covering(m.plan.profile.length() + 2, 1.0);
  const cv::Mat flat =
      surface::map_picture(m.scan, m.dense, m.plan.profile, grid, m.plan.tile_thickness_mm + 0.5, {}, 2, 0);
  for (auto _ : state)
    benchmark::DoNotOptimize(surface::find_turn(flat, grid, m.plan, m.plan.tile_thickness_mm));
}

void dense_heights(benchmark::State& state) {
  const Measured& m = measured();
  surface::HeightOptions options;
  options.highest_mm = m.plan.tile_thickness_mm + 5;
  const surface::MapGrid grid = surface::MapGrid::covering(m.plan.profile.length() + 2, 1.0);
  for (auto _ : state)
    benchmark::DoNotOptimize(surface::sweep_heights(m.scan, m.dense, m.plan.profile, grid, options));
}

struct OnePiece {
  edges::FaceStart face;
  edges::PlacedOutline placed;
};

const OnePiece& one_piece() {
  static const OnePiece piece = [] {
    const Measured& m = measured();
    OnePiece p;
    p.face = edges::start_face(m.surface.heights, m.plan, geometry::TileIndex(0));
    p.placed = edges::place_outline(m.scan, m.pictures, p.face.frame,
                                    plan::planned_face(m.plan, geometry::TileIndex(0)).outline, {});
    return p;
  }();
  return piece;
}

void place_one_piece(benchmark::State& state) {
  const Measured& m = measured();
  const geometry::Polygon planned = plan::planned_face(m.plan, geometry::TileIndex(0)).outline;
  for (auto _ : state)
    benchmark::DoNotOptimize(edges::place_outline(m.scan, m.pictures, one_piece().face.frame, planned, {}));
}

void trace_one_piece(benchmark::State& state) {
  const Measured& m = measured();
  const OnePiece& p = one_piece();
  edges::ArrisPrior known;
  known.face = p.face.frame;
  known.height_sd_mm = p.face.height_sd_mm;
  known.tilt_sd = p.face.tilt_sd;
  for (auto _ : state) {
    benchmark::DoNotOptimize(
        edges::trace_arris(m.scan, m.pictures, {p.face.frame, p.placed.outline}, known, {0.9, 0.6}, {}));
  }
}

// Placing, tracing and seams of all pieces.
void whole_fit(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(seams::fit_pieces(m.scan, m.surface, m.plan, {}));
}

void voids_and_pours(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(pour::plan_pours(m.fit, m.plan, {}, {}));
}

void corrections(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(rework::propose_corrections(m.fit, m.plan, {}));
}

void marked_photos(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(report::mark_photos(m.scan, m.fit, 2000, 0));
}

void page(benchmark::State& state) {
  const Measured& m = measured();
  const report::PageInput input{m.fit,           m.plan, m.scan, m.surface.heights,      m.surface.ortho_grid,
                                m.surface.ortho, {},     {},     report::PagePaper::any, 0};
  for (auto _ : state) benchmark::DoNotOptimize(report::report_page(input));
}

#define STAGE(name) BENCHMARK(name)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime()
STAGE(decode_grey);
STAGE(decode_colour);
STAGE(find_cards);
STAGE(features);
STAGE(whole_scan);
STAGE(turn);
STAGE(dense_heights);
STAGE(place_one_piece);
STAGE(trace_one_piece);
STAGE(whole_fit);
STAGE(voids_and_pours);
STAGE(corrections);
STAGE(marked_photos);
STAGE(page);

}  // namespace
}  // namespace interstice
