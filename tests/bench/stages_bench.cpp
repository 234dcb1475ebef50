// The measuring stages on the demo scan, one benchmark each, every one with the results of the stages before
// it at hand. CPU time is the process's: the stages work on several threads.
#include <benchmark/benchmark.h>

#include "camera/cards.h"
#include "camera/photo.h"
#include "fit/corrections.h"
#include "fit/face_start.h"
#include "fit/fit.h"
#include "fit/place_outline.h"
#include "fit/trace_arris.h"
#include "plan/piece_model.h"
#include "report/page.h"
#include "report/photo_marks.h"
#include "scan/features.h"
#include "scan/tie_points.h"
#include "surface/map_picture.h"
#include "surface/surface.h"
#include "voids/plan_pours.h"

namespace interstice {
namespace {

const std::filesystem::path kFolder = std::filesystem::path(INTERSTICE_SOURCE_DIR) / "datasets" / "plover";

// Everything measured once, for the benchmarks of the later stages.
struct Measured {
  Plan plan = read_plan(kFolder / "plan.json");
  Scan scan;
  Surface surface;
  FitDocument fit;
  PourDocument pour;
  IndexedVector<PhotoIndex, Picture> pictures, dense;
};

ScanOptions scan_options() {
  ScanOptions options;
  options.check_line_mm = 150.0;
  return options;
}

const Measured& measured() {
  static const Measured all = [] {
    Measured m;
    m.scan = scan_photos(kFolder / "photos", m.plan, scan_options());
    m.surface = build_surface(m.scan, m.plan, {});
    m.fit = fit_pieces(m.scan, m.surface, m.plan, {});
    m.pour = plan_pours(m.fit, m.plan, {}, {});
    m.pictures = read_pictures(m.scan, 0, true, 0);
    m.dense = read_pictures(m.scan, 0.6, true, 0);
    return m;
  }();
  return all;
}

const PhotoInfo& first_photo() {
  static const PhotoInfo info = read_photo_info(list_photos(kFolder / "photos").front());
  return info;
}

void decode_grey(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(read_photo_grey(first_photo()));
}

void decode_colour(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(read_photo_colour(first_photo()));
}

void find_cards(benchmark::State& state) {
  const cv::Mat grey = read_photo_grey(first_photo());
  std::size_t cards = 0;
  for (auto _ : state) cards = detect_cards(grey).size();
  state.counters["cards"] = static_cast<double>(cards);
}

void features(benchmark::State& state) {
  const cv::Mat grey = read_photo_grey(first_photo());
  const cv::Mat everywhere(grey.size(), CV_8U, cv::Scalar(255));
  for (auto _ : state) benchmark::DoNotOptimize(find_features(grey, everywhere, 7000));
}

// Cards, features, ties and the adjustment.
void whole_scan(benchmark::State& state) {
  const Plan plan = read_plan(kFolder / "plan.json");
  for (auto _ : state) benchmark::DoNotOptimize(scan_photos(kFolder / "photos", plan, scan_options()));
}

void turn(benchmark::State& state) {
  const Measured& m = measured();
  const MapGrid grid = MapGrid::covering(m.plan.profile.length() + 2, 1.0);
  const cv::Mat flat =
      map_picture(m.scan, m.dense, m.plan.profile, grid, m.plan.tile_thickness_mm + 0.5, {}, 2, 0);
  for (auto _ : state) benchmark::DoNotOptimize(find_turn(flat, grid, m.plan, m.plan.tile_thickness_mm));
}

void dense_heights(benchmark::State& state) {
  const Measured& m = measured();
  HeightOptions options;
  options.highest_mm = m.plan.tile_thickness_mm + 5;
  const MapGrid grid = MapGrid::covering(m.plan.profile.length() + 2, 1.0);
  for (auto _ : state)
    benchmark::DoNotOptimize(sweep_heights(m.scan, m.dense, m.plan.profile, grid, options));
}

struct OnePiece {
  FaceStart face;
  PlacedOutline placed;
};

const OnePiece& one_piece() {
  static const OnePiece piece = [] {
    const Measured& m = measured();
    OnePiece p;
    p.face = start_face(m.surface.heights, m.plan, TileIndex(0));
    p.placed =
        place_outline(m.scan, m.pictures, p.face.frame, planned_face(m.plan, TileIndex(0)).outline, {});
    return p;
  }();
  return piece;
}

void place_one_piece(benchmark::State& state) {
  const Measured& m = measured();
  const Polygon planned = planned_face(m.plan, TileIndex(0)).outline;
  for (auto _ : state)
    benchmark::DoNotOptimize(place_outline(m.scan, m.pictures, one_piece().face.frame, planned, {}));
}

void trace_one_piece(benchmark::State& state) {
  const Measured& m = measured();
  const OnePiece& p = one_piece();
  ArrisPrior known;
  known.face = p.face.frame;
  known.height_sd_mm = p.face.height_sd_mm;
  known.tilt_sd = p.face.tilt_sd;
  for (auto _ : state) {
    benchmark::DoNotOptimize(
        trace_arris(m.scan, m.pictures, p.face.frame, p.placed.outline, known, {0.9, 0.6}, {}));
  }
}

// Placing, tracing and seams of all pieces.
void whole_fit(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(fit_pieces(m.scan, m.surface, m.plan, {}));
}

void voids_and_pours(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(plan_pours(m.fit, m.plan, {}, {}));
}

void corrections(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(propose_corrections(m.fit, m.plan, {}));
}

void marked_photos(benchmark::State& state) {
  const Measured& m = measured();
  for (auto _ : state) benchmark::DoNotOptimize(mark_photos(m.scan, m.fit, 2000, 0));
}

void page(benchmark::State& state) {
  const Measured& m = measured();
  const PageInput input{m.fit,           m.plan, m.scan, m.surface.heights, m.surface.ortho_grid,
                        m.surface.ortho, {},     {},     PagePaper::any,        0};
  for (auto _ : state) benchmark::DoNotOptimize(report_page(input));
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
