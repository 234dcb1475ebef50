#include "archive/sample.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <Eigen/Geometry>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <fstream>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <random>

#include "solid/piece_body.h"

namespace fs = std::filesystem;

namespace interstice::sample {

Scratch::Scratch() {
  // In memory where there is such a place: the tests write tens of thousands of small files.
  std::error_code ec;
  const fs::path memory = "/dev/shm";
  const bool usable = fs::is_directory(memory, ec) && ::access(memory.c_str(), W_OK | X_OK) == 0;
  std::string name = ((usable ? memory : fs::temp_directory_path()) / "archive-test-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder");
  path_ = name;
}

Scratch::~Scratch() {
  std::error_code ec;
  fs::remove_all(path_, ec);
}

plan::Plan plan(int rings, int pieces_a_ring, double gap_mm) {
  constexpr double kRadius = 100;
  std::vector<Eigen::Vector2d> rz{{0, kRadius}};
  for (int i = 1; i <= 40; ++i) {
    const double angle = i / 40.0 * std::numbers::pi / 2;
    rz.emplace_back(kRadius * std::sin(angle), i == 40 ? 0.0 : kRadius * std::cos(angle));
  }
  plan::Plan plan;
  plan.name = "marsh bowl";
  plan.profile = geometry::Profile(rz);
  plan.tile_thickness_mm = 12;
  plan.bevel_deg = 10;
  plan.planned_gap_mm = gap_mm;
  const double band = plan.profile.length() / (rings + 1);
  for (int ring = 1; ring <= rings; ++ring) {
    const double outer = plan.profile.length() - (ring - 1) * band - gap_mm / 2 - 4;
    const double inner = outer - band + gap_mm;
    for (int k = 0; k < pieces_a_ring; ++k) {
      const double sector = 2 * std::numbers::pi / pieces_a_ring;
      const double from = k * sector + ring * 0.37;
      plan::PlannedTile tile;
      tile.ring = ring;
      tile.label =
          std::string(1, static_cast<char>('A' + ring - 1)) + (k < 9 ? "0" : "") + std::to_string(k + 1);
      const auto corner = [&](double rho, double side) {  // side 0: the start of the sector, 1: its end
        const double half = gap_mm / 2 / std::max(10.0, plan.profile.at(rho).rz.x());
        const double theta = from + side * sector + (side < 0.5 ? half : -half);
        tile.outline.emplace_back(rho * std::cos(theta), rho * std::sin(theta));
      };
      constexpr int kSteps = 8;
      for (int i = 0; i < kSteps; ++i) corner(inner + (outer - inner) * i / kSteps, 0);
      for (int i = 0; i < kSteps; ++i) corner(outer, static_cast<double>(i) / kSteps);
      for (int i = 0; i < kSteps; ++i) corner(outer - (outer - inner) * i / kSteps, 1);
      for (int i = 0; i < kSteps; ++i) corner(inner, 1 - static_cast<double>(i) / kSteps);
      if (geometry::signed_area(tile.outline) < 0) std::reverse(tile.outline.begin(), tile.outline.end());
      plan.tiles.push_back(tile);
    }
  }
  return plan;
}

seams::FitDocument built(const plan::Plan& plan, const Build& build) {
  std::mt19937 random(build.seed);
  std::normal_distribution<double> normal;
  seams::FitDocument fit;
  fit.name = plan.name;
  fit.form_profile = plan.profile.points();
  fit.quality = {20, 20, 0.3, 0.2, 0.05, std::nullopt, {}, true};
  std::vector<solid::PieceBody> bodies = solid::planned_bodies(plan);
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    solid::PieceBody& body = bodies[i];
    seams::FitTile tile;
    tile.label = plan.tiles[geometry::TileIndex(i)].label;
    tile.ring = plan.tiles[geometry::TileIndex(i)].ring;
    tile.state = plan::TileState::placed;
    tile.moved_mm = {normal(random) * build.place_sd_mm, normal(random) * build.place_sd_mm};
    tile.turned_deg = normal(random) * build.turn_sd_deg;
    const geometry::PlaneFrame& frame = body.face.frame;
    Eigen::Isometry3d put = Eigen::Isometry3d::Identity();
    put.translate(frame.origin + tile.moved_mm.x() * frame.ex + tile.moved_mm.y() * frame.ey);
    put.rotate(Eigen::AngleAxisd(tile.turned_deg * std::numbers::pi / 180, frame.normal));
    put.translate(-frame.origin);
    for (Eigen::Vector3d& p : body.root) p = put * p;
    for (Eigen::Vector3d& p : body.arris) p = put * p - build.off_mm * frame.normal;
    body.middle = put * body.middle;
    tile.arris = body.arris;
    tile.root = body.root;
    for (Eigen::Vector3d& p : tile.arris)
      p += build.noise_sd_mm * (normal(random) * frame.ex + normal(random) * frame.ey);
    tile.arris_sd_mm.assign(tile.arris.size(), build.arris_sd_mm);
    tile.face = frame;
    tile.face.origin = put * frame.origin - build.off_mm * frame.normal;
    tile.height_mm = plan.tile_thickness_mm - build.off_mm;
    fit.tiles.push_back(tile);
  }
  for (const solid::PlannedSeam& s : solid::planned_seams(bodies)) {
    seams::FitSeam seam;
    seam.tiles = {plan.tiles[s.a].label, plan.tiles[s.b].label};
    seam.narrowest_mm = s.mouth_mm;
    seam.u95_mm = build.u95_mm;
    seam.at = s.at;
    seam.length_mm = s.length_mm;
    const double margin = s.mouth_mm - fit.smallest_fill_mm;
    seam.verdict = margin > build.u95_mm    ? seams::Verdict::clear
                   : margin < -build.u95_mm ? seams::Verdict::too_tight
                                            : seams::Verdict::doubtful;
    fit.seams.push_back(seam);
  }
  return fit;
}

void write_file(const fs::path& path, const std::string& bytes) {
  fs::create_directories(path.parent_path());
  std::ofstream(path, std::ios::binary) << bytes;
}

std::string file_bytes(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

void write_results(const fs::path& folder, const plan::Plan& plan, const seams::FitDocument& fit,
                   int scan_files) {
  write_file(folder / "fit.json", seams::write_fit(fit));
  write_file(folder / "plan.json", plan::write_plan(plan));
  write_file(folder / "seams.csv", "tiles,narrowest_mm\nA01 A02,2.41\n");
  write_file(folder / "cloud.ply", "ply\nformat ascii 1.0\nelement vertex 0\nend_header\n");
  write_file(folder / "pour.json", "{\"format\": \"interstice-pour\", \"version\": 1}\n");
  write_file(folder / "report.html", "<!doctype html><title>report</title>\n");
  write_file(folder / "scan" / "cameras.json", "{\"photos\": []}\n");
  for (int i = 0; i < scan_files; ++i) {
    write_file(folder / "scan" / ("part_" + std::to_string(i) + ".bin"),
               std::string(static_cast<std::size_t>(37 * i + 1), 'x'));
  }
}

std::string photo(unsigned seed, bool with_location, int side) {
  cv::Mat picture(side, side, CV_8UC3);
  cv::RNG random(seed + 1);
  random.fill(picture, cv::RNG::UNIFORM, 0, 255);
  std::vector<unsigned char> bytes;
  cv::imencode(".jpg", picture, bytes);
  std::string jpeg(bytes.begin(), bytes.end());
  Exiv2::Image::AutoPtr image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(jpeg.data()),
                                                          static_cast<long>(jpeg.size()));
  image->readMetadata();
  image->exifData()["Exif.Image.Orientation"] = std::uint16_t{6};
  image->exifData()["Exif.Photo.FocalLength"] = Exiv2::Rational(57, 10);
  if (with_location) {
    image->exifData()["Exif.GPSInfo.GPSLatitudeRef"] = "N";
    image->exifData()["Exif.GPSInfo.GPSLatitude"] = "51/1 29/1 123456789/1000000";
    image->xmpData()["Xmp.exif.GPSLatitude"] = "51,29.123N";
  }
  image->writeMetadata();
  Exiv2::BasicIo& io = image->io();
  io.open();
  const Exiv2::DataBuf out = io.read(static_cast<long>(io.size()));
  return {reinterpret_cast<const char*>(out.pData_), static_cast<std::size_t>(out.size_)};
}

archive::AddRequest request(const fs::path& results, const std::string& name) {
  archive::AddRequest request;
  request.results = results;
  request.name = name;
  request.date = "2026-03-14";
  return request;
}

std::map<std::string, std::string> contents(const fs::path& folder) {
  std::map<std::string, std::string> out;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(folder)) {
    const std::string name = entry.path().lexically_relative(folder).generic_string();
    if (entry.is_regular_file()) out[name] = file_bytes(entry.path());
  }
  return out;
}

std::pair<int, std::string> shell(const std::string& command) {
  std::string out;
  FILE* pipe = ::popen(("LC_ALL=C; export LC_ALL; ( " + command + " ) 2>&1").c_str(), "r");
  char block[4096];
  while (const std::size_t n = std::fread(block, 1, sizeof block, pipe)) out.append(block, n);
  const int status = ::pclose(pipe);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, out};
}

std::vector<std::string> expect_whole(const fs::path& root) {
  const archive::Archive archive = archive::Archive::open(root);
  EXPECT_TRUE(archive.unreadable().empty());
  const std::vector<std::string> ids = archive.ids();
  for (const std::string& id : ids) {
    const archive::Verified verified = archive.verify(id, 1);
    EXPECT_TRUE(verified.faults.empty())
        << id << ": " << (verified.faults.empty() ? "" : verified.faults.front());
    EXPECT_EQ(archive.find(id).files.size(), archive::read_entry(archive.bag(id)).files.size());
  }
  std::vector<std::string> listed;
  for (const archive::Entry& entry : archive.list({})) listed.push_back(entry.id);
  std::sort(listed.begin(), listed.end());
  EXPECT_EQ(listed, ids);
  return ids;
}

}  // namespace interstice::sample
