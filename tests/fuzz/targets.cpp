#include "fuzz/targets.h"

#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>

#include "archive/bag.h"
#include "camera/lens.h"
#include "camera/photo.h"
#include "core/errors.h"
#include "core/files.h"
#include "fit/corrections.h"
#include "fit/fit_document.h"
#include "plan/form_input.h"
#include "plan/piece_model.h"
#include "plan/plan.h"
#include "voids/resin.h"

namespace interstice::fuzz {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void broken(const char* law, const std::string& detail) {
  std::fprintf(stderr, "fuzz: %s: %s\n", law, detail.c_str());
  std::abort();
}

// Reads or refuses with one line that names the file.
void read_or_refuse(const std::function<void()>& read) {
  try {
    read();
  } catch (const InputError& e) {
    if (std::strchr(e.what(), '\n')) broken("a refusal is one line", e.what());
    if (!std::strstr(e.what(), "fuzzed")) broken("a refusal names the file", e.what());
  } catch (const std::exception& e) {
    broken("readers throw nothing but InputError", e.what());
  }
}

std::string text_of(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

// A file of this process for the readers that take a path.
fs::path file_of(const std::uint8_t* data, std::size_t size, const char* ending) {
  static const fs::path folder = [] {
    const fs::path memory = "/dev/shm";
    return fs::is_directory(memory) ? memory : fs::temp_directory_path();
  }();
  const fs::path path = folder / ("fuzzed." + std::to_string(::getpid()) + ending);
  std::FILE* file = std::fopen(path.c_str(), "wb");
  if (!file || std::fwrite(data, 1, size, file) != size) broken("the file can be written", path.string());
  std::fclose(file);
  return path;
}

void plan_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const Plan plan = parse_plan(text_of(data, size), "fuzzed");
    const std::string once = write_plan(plan);
    for (const PlannedTile& tile : plan.tiles) {
      if (!(signed_area(tile.outline) > 0)) broken("outlines run counter-clockwise", tile.label);
    }
    try {
      if (write_plan(parse_plan(once, "fuzzed")) != once) broken("a written plan reads back", once);
    } catch (const InputError& e) {
      broken("a written plan is readable", e.what());
    }
    if (plan.tiles.size() <= 20) {
      for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
        if (plan.tiles[TileIndex(t)].outline.size() > 500) continue;
        const PieceFace face = planned_face(plan, TileIndex(t));
        for (const Eigen::Vector2d& p : face.outline) {
          if (!p.allFinite()) broken("a planned face is finite", plan.tiles[TileIndex(t)].label);
        }
      }
    }
  });
}

void lens_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const Lens lens = parse_lens(text_of(data, size), "fuzzed");
    const std::string once = write_lens(lens);
    if (write_lens(parse_lens(once, "fuzzed")) != once) broken("a written lens reads back", once);
    lens.project({0.1, 0.2, 1.0});
    lens.undistort({1.0, 2.0});
  });
}

void resin_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] { parse_resin(text_of(data, size), "fuzzed"); });
}

void fit_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string once = write_fit(parse_fit(text_of(data, size), "fuzzed"));
    const std::string twice = write_fit(parse_fit(once, "fuzzed"));
    if (write_fit(parse_fit(twice, "fuzzed")) != twice)
      broken("a written fit reads back", once.substr(0, 400));
  });
}

void corrections_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] { parse_corrections(text_of(data, size), "fuzzed"); });
}

void form_target(const std::uint8_t* data, std::size_t size, const char* ending) {
  const fs::path path = file_of(data, size, ending);
  read_or_refuse([&] {
    const Profile profile = read_form(path).profile;
    const auto& points = profile.points();
    if (points.size() < 3 || points.front().x() != 0 || points.back().y() != 0)
      broken("a form runs from the pole to the rim", std::to_string(points.size()));
    for (const Eigen::Vector2d& p : points) {
      if (!p.allFinite() || p.norm() > 1e5) broken("a form is finite", std::to_string(p.norm()));
    }
  });
}

void form_table_target(const std::uint8_t* data, std::size_t size) {
  form_target(data, size, ".csv");
}
void form_svg_target(const std::uint8_t* data, std::size_t size) {
  form_target(data, size, ".svg");
}
void form_dxf_target(const std::uint8_t* data, std::size_t size) {
  form_target(data, size, ".dxf");
}

// Headers and EXIF; pixels too where they are few.
void photo_target(const std::uint8_t* data, std::size_t size) {
  const fs::path path = file_of(data, size, ".jpg");
  read_or_refuse([&] {
    const PhotoInfo info = read_photo_info(path);
    if (info.width < 1 || info.height < 1 || double(info.width) * info.height > kMaxMegapixels * 1e6)
      broken("a photo's size is within the limits", std::to_string(info.width));
    if (info.exif_orientation < 1 || info.exif_orientation > 8)
      broken("an orientation is one of eight", std::to_string(info.exif_orientation));
    if (!(exif_focal_px(info) > 0)) broken("a focal length is positive", std::to_string(exif_focal_px(info)));
    if (double(info.width) * info.height > 3e5) return;
    const cv::Mat grey = read_photo_grey(info);
    if (grey.cols != info.width || grey.rows != info.height || grey.type() != CV_8UC1)
      broken("a grey picture has the size of its header", info.name);
  });
}

void bag_target(const std::uint8_t* data, std::size_t size) {
  const std::string text = text_of(data, size);
  read_or_refuse([&] {
    const BagInfo info = parse_bag_info(text, "fuzzed");
    for (const auto& [label, value] : info.fields()) {
      if (label.find_first_of("\r\n") != std::string::npos) broken("a label is one line", label);
    }
    if (const auto oxum = info.first("Payload-Oxum")) parse_oxum(*oxum);
  });
  for (const std::size_t digits : {std::size_t{64}, std::size_t{128}}) {
    read_or_refuse([&] {
      const Manifest manifest = parse_manifest(text, digits, "fuzzed");
      const std::string once = write_manifest(manifest);
      if (parse_manifest(once, digits, "fuzzed") != manifest) broken("a manifest reads back", once);
      for (const auto& [path, digest] : manifest) {
        const fs::path normal = fs::path(path).lexically_normal();
        if (path.empty() || path.front() == '/' || *normal.begin() == "..")
          broken("a manifest stays in its bag", path);
      }
    });
  }
}

constexpr NamedTarget kTargets[] = {
    {"plan", plan_target},
    {"lens", lens_target},
    {"resin", resin_target},
    {"fit", fit_target},
    {"corrections", corrections_target},
    {"form_table", form_table_target},
    {"form_svg", form_svg_target},
    {"form_dxf", form_dxf_target},
    {"photo", photo_target},
    {"bag", bag_target},
};

}  // namespace

std::span<const NamedTarget> targets() {
  return kTargets;
}

Target target_named(const char* name) {
  for (const NamedTarget& target : kTargets) {
    if (std::strcmp(target.name, name) == 0) return target.run;
  }
  throw std::out_of_range(std::string("no target is called ") + name);
}

}  // namespace interstice::fuzz
