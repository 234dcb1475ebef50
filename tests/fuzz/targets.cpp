#include "fuzz/targets.h"

#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>

#include "archive/bag.h"
#include "archive/photo_privacy.h"
#include "archive/tells_location.h"
#include "camera/lens.h"
#include "camera/photo.h"
#include "core/errors.h"
#include "core/files.h"
#include "fuzz/laws.h"
#include "layout/form_input.h"
#include "plan/piece_model.h"
#include "plan/plan.h"
#include "pour/resin.h"
#include "rework/corrections.h"
#include "seams/fit_document.h"

namespace interstice::fuzz {
namespace {

namespace fs = std::filesystem;

// Reads or refuses with one line that names the file. What was written of what was read is given another
// name, so that a refusal of it is none.
void read_or_refuse(const std::function<void()>& read) {
  try {
    read();
  } catch (const core::InputError& e) {
    if (std::strchr(e.what(), '\n')) broken("a refusal is one line", e.what());
    if (std::strlen(e.what()) > 500) broken("a refusal is short", e.what());
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
    const std::string text = text_of(data, size);
    const plan::Plan plan = plan::parse_plan(text, "fuzzed");
    check_document(text);
    check_plan(plan);
    const std::string once = plan::write_plan(plan);
    require(plan::write_plan(plan::parse_plan(once, "written")) == once, "a written plan reads back", once);
    if (plan.tiles.size() > 20) return;
    for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
      if (plan.tiles[geometry::TileIndex(t)].outline.size() > 500) continue;
      for (const Eigen::Vector2d& p : plan::planned_face(plan, geometry::TileIndex(t)).outline)
        require(p.allFinite(), "a planned face is finite", plan.tiles[geometry::TileIndex(t)].label);
    }
  });
}

void lens_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string text = text_of(data, size);
    const camera::Lens lens = camera::parse_lens(text, "fuzzed");
    check_document(text);
    check_lens(lens);
    const std::string once = camera::write_lens(lens);
    require(camera::write_lens(camera::parse_lens(once, "written")) == once, "a written lens reads back",
            once);
    lens.project({0.1, 0.2, 1.0});
    lens.undistort({1.0, 2.0});
  });
}

nlohmann::json numbers_of(const pour::Resin& r) {
  nlohmann::json out = {{"name", r.name},
                        {"density_g_ml", r.density_g_ml},
                        {"mixed_viscosity_mpa_s", r.viscosity_mpa_s},
                        {"viscosity_doubling_min", r.doubling_min},
                        {"pot_life_min", r.pot_life_min},
                        {"surface_tension_mn_m", r.surface_tension_mn_m},
                        {"contact_angle_deg", r.contact_angle_deg}};
  if (r.max_depth_mm) out["max_depth_mm"] = *r.max_depth_mm;
  return out;
}

void resin_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string text = text_of(data, size);
    const pour::Resin resin = pour::parse_resin(text, "fuzzed");
    check_document(text);
    require(within(resin.density_g_ml, 0.5, 4) && within(resin.viscosity_mpa_s, 1, 1e6) &&
                within(resin.doubling_min, 0.1, 1e5) && within(resin.pot_life_min, 0.1, 1e5) &&
                within(resin.surface_tension_mn_m, 1, 200) && within(resin.contact_angle_deg, 0, 180) &&
                within(resin.max_depth_mm.value_or(1), 1, 1000) && resin.name.size() <= 200,
            "a resin's numbers are those of a resin", numbers_of(resin).dump());
    const nlohmann::json numbers = numbers_of(resin);
    require(numbers_of(pour::parse_resin(numbers.dump(), "written")) == numbers, "a resin reads back",
            numbers.dump());
  });
}

void check_fit_reads_back(const seams::FitDocument& fit) {
  check_fit(fit);
  const std::string once = seams::write_fit(fit);
  require(seams::write_fit(seams::parse_fit(once, "written")) == once, "a written fit reads back",
          once.substr(0, 400));
}

void fit_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string text = text_of(data, size);
    const seams::FitDocument fit = seams::parse_fit(text, "fuzzed");
    check_document(text);
    check_fit_reads_back(fit);
  });
}

void corrections_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string text = text_of(data, size);
    seams::FitDocument fit;
    fit.corrections = rework::parse_corrections(text, "fuzzed");
    check_document(text);
    fit.smallest_fill_mm = 3;
    check_fit_reads_back(fit);
    const std::string written = seams::write_fit(fit);
    require(rework::parse_corrections(written, "written").size() == fit.corrections.size(),
            "no correction is lost", written);
  });
}

void form_target(const std::uint8_t* data, std::size_t size, const char* ending) {
  const fs::path path = file_of(data, size, ending);
  read_or_refuse([&] { check_form(layout::read_form(path).profile); });
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

// What leaves the archive with a picture.
void clean_target(const std::uint8_t* data, std::size_t size) {
  read_or_refuse([&] {
    const std::string clean = archive::clean_picture(text_of(data, size), "fuzzed");
    require(!tells_location(clean), "a cleaned picture tells no place", std::to_string(size));
    const std::string again = archive::clean_picture(clean, "cleaned");
    require(again.size() == clean.size(), "a clean picture is clean", std::to_string(again.size()));
  });
}

// Headers and EXIF; pixels too where they are few.
void photo_target(const std::uint8_t* data, std::size_t size) {
  clean_target(data, size);
  const fs::path path = file_of(data, size, ".jpg");
  read_or_refuse([&] {
    const camera::PhotoInfo info = camera::read_photo_info(path);
    require(info.width >= 1 && info.height >= 1 &&
                double(info.width) * info.height <= camera::kMaxMegapixels * 1e6,
            "a photo's size is within the limits", std::to_string(info.width));
    require(info.exif_orientation >= 1 && info.exif_orientation <= 8, "an orientation is one of eight",
            std::to_string(info.exif_orientation));
    const double diagonal = std::hypot(info.width, info.height);
    require(within(camera::exif_focal_px(info) / diagonal, 0.1, 50), "a focal length is a lens's",
            std::to_string(camera::exif_focal_px(info)));
    require(info.camera.size() <= 310 && info.camera.find('\n') == std::string::npos,
            "a camera's name is one short line", info.camera);
    if (double(info.width) * info.height > 3e5) return;
    const cv::Mat grey = camera::read_photo_grey(info), colour = camera::read_photo_colour(info);
    require(grey.cols == info.width && grey.rows == info.height && grey.type() == CV_8UC1,
            "a grey picture has the size of its header", info.name);
    require(colour.size() == grey.size() && colour.type() == CV_8UC3,
            "a coloured picture has the size of the grey one", info.name);
    // A picture cut short is refused: what decodes has the mark that ends its data.
    const std::string bytes = text_of(data, size);
    if (bytes.rfind("\xff\xd8", 0) == 0)
      require(bytes.find("\xff\xd9") != std::string::npos, "a JPEG that decodes ends", info.name);
    if (bytes.rfind("\x89PNG", 0) == 0)
      require(bytes.find("IEND") != std::string::npos, "a PNG that decodes ends", info.name);
  });
}

void bag_info_target(const std::string& text) {
  read_or_refuse([&] {
    const archive::BagInfo info = archive::parse_bag_info(text, "fuzzed");
    for (const auto& [label, value] : info.fields()) {
      require(!label.empty() && label.find_first_of(":\r\n") == std::string::npos, "a label is one", label);
      require(value.find_first_of("\r\n") == std::string::npos, "a value is one line", value);
    }
    const std::string written = archive::write_bag_info(info);
    require(archive::parse_bag_info(written, "written").fields() == info.fields(), "bag-info reads back",
            written);
    if (const auto oxum = info.first("Payload-Oxum")) {
      if (archive::parse_oxum(*oxum))
        require(oxum->find_first_not_of("0123456789.") == std::string::npos &&
                    oxum->find('.') == oxum->rfind('.'),
                "an Oxum is two numbers", *oxum);
    }
  });
}

void bag_target(const std::uint8_t* data, std::size_t size) {
  const std::string text = text_of(data, size);
  bag_info_target(text);
  for (const std::size_t digits : {std::size_t{64}, std::size_t{128}}) {
    read_or_refuse([&] {
      const archive::Manifest manifest = archive::parse_manifest(text, digits, "fuzzed");
      std::size_t lines = 0;
      for (std::size_t i = 0; i < text.size(); ++i) {
        const bool ends = i + 1 == text.size() || text[i + 1] == '\n' || text[i + 1] == '\r';
        lines += ends && text[i] != '\n' && text[i] != '\r' ? 1 : 0;
      }
      require(manifest.size() == lines, "a manifest has a path a line", text);
      const std::string once = archive::write_manifest(manifest);
      require(archive::parse_manifest(once, digits, "written") == manifest, "a manifest reads back", once);
      for (const auto& [path, digest] : manifest) {
        require(digest.size() == digits && digest.find_first_not_of("0123456789abcdef") == std::string::npos,
                "a digest is one", digest);
        const fs::path relative(path);
        require(!path.empty() && path.front() != '/', "a manifest stays in its bag", path);
        for (const fs::path& part : relative)
          require(!part.empty() && part != ".." && part != ".", "a manifest stays in its bag", path);
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
