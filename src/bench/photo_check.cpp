#include "bench/photo_check.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "core/files.h"
#include "core/json_reader.h"
#include "core/median.h"

namespace interstice::bench {
namespace {

constexpr double kHalvedFromPixels = 6e6;  // cards are found as well at half the size, four times as fast
constexpr int kSmallPx = 480;
constexpr double kReachMm = 2.6;  // the paper between square and marker is 3 mm wide
constexpr double kStepPx = 0.25;
constexpr double kClipped = 253, kDark = 55;  // grey values of paper
constexpr double kLeastContrast = 40;
// A good lens and the pixel's own width blur by about three quarters of a pixel; twice that is the hand's doing.
constexpr double kPixelsOwnBlur = 1.5;

std::vector<camera::CardView> find_cards(const cv::Mat& grey) {
  if (static_cast<double>(grey.total()) < kHalvedFromPixels) return camera::detect_cards(grey);
  cv::Mat half;
  cv::resize(grey, half, cv::Size(grey.cols / 2, grey.rows / 2), 0, 0, cv::INTER_AREA);
  std::vector<camera::CardView> cards = camera::detect_cards(half);
  for (camera::CardView& card : cards) {
    for (Eigen::Vector2d& p : card.pixel) p = 2 * p + Eigen::Vector2d::Constant(0.5);
    for (double& sd : card.sd_px) sd *= 2;
  }
  return cards;
}

double grey_at(const cv::Mat& grey, const Eigen::Vector2d& p) {
  const int x = static_cast<int>(std::floor(p.x())), y = static_cast<int>(std::floor(p.y()));
  const double u = p.x() - x, v = p.y() - y;
  const auto at = [&](int row, int column) {
    return static_cast<double>(grey.at<std::uint8_t>(row, column));
  };
  return (1 - v) * ((1 - u) * at(y, x) + u * at(y, x + 1)) +
         v * ((1 - u) * at(y + 1, x) + u * at(y + 1, x + 1));
}

struct EdgeProfile {
  double sd_px, sd_mm, low, high;
};

// Across one edge between two squares: `middle` on it and `across` of unit length, on the card.
std::optional<EdgeProfile> read_edge(const cv::Mat& grey, const cv::Matx33d& pixel_H_card,
                                     const Eigen::Vector2d& middle, const Eigen::Vector2d& across) {
  const auto to_pixel = [&](const Eigen::Vector2d& p) {
    const cv::Vec3d q = pixel_H_card * cv::Vec3d(p.x(), p.y(), 1);
    return Eigen::Vector2d(q[0] / q[2], q[1] / q[2]);
  };
  const Eigen::Vector2d from = to_pixel(middle - kReachMm * across),
                        to = to_pixel(middle + kReachMm * across);
  const double length = (to - from).norm();
  const int steps = static_cast<int>(length / kStepPx);
  for (const Eigen::Vector2d& p : {from, to}) {
    if (p.x() < 2 || p.y() < 2 || p.x() > grey.cols - 4 || p.y() > grey.rows - 4) return std::nullopt;
  }
  if (steps < 16) return std::nullopt;  // too far away to say
  std::vector<double> values;
  const Eigen::Vector2d along(-across.y(), across.x());
  for (int i = 0; i <= steps; ++i) {
    const Eigen::Vector2d at = middle + (2.0 * i / steps - 1) * kReachMm * across;
    double sum = 0;  // over a strip, against noise
    for (int k = -3; k <= 3; ++k) sum += grey_at(grey, to_pixel(at + k * along));
    values.push_back(sum / 7);
  }
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  double steepest = 0;  // over one pixel
  const int pixel = static_cast<int>(1 / kStepPx);
  for (std::size_t i = 0; i + pixel < values.size(); ++i)
    steepest = std::max(steepest, std::abs(values[i + pixel] - values[i]));
  if (*high - *low < 8 || steepest <= 0) return std::nullopt;
  const double sd_px = (*high - *low) / (std::sqrt(2 * std::numbers::pi) * steepest);
  return EdgeProfile{sd_px, sd_px * 2 * kReachMm / length, *low, *high};
}

std::vector<EdgeProfile> edges_of(const cv::Mat& grey, const camera::CardView& card) {
  std::vector<cv::Point2d> from, to;
  for (std::size_t i = 0; i < card.corner_id.size(); ++i) {
    const Eigen::Vector3d p = camera::card_point(card.corner_id[i]);
    from.emplace_back(p.x(), p.y());
    to.emplace_back(card.pixel[i].x(), card.pixel[i].y());
  }
  std::vector<EdgeProfile> edges;
  const cv::Mat found = cv::findHomography(from, to, 0);
  if (found.empty()) return edges;
  const cv::Matx33d pixel_H_card = found;
  const double half = camera::kSquareMm / 2;
  for (const int id : card.corner_id) {
    const Eigen::Vector2d corner = camera::card_point(id).head<2>();
    for (const Eigen::Vector2d& along : {Eigen::Vector2d(half, 0), Eigen::Vector2d(0, half)}) {
      const Eigen::Vector2d across(along.y() / half, along.x() / half);
      if (const auto edge = read_edge(grey, pixel_H_card, corner + along, across)) edges.push_back(*edge);
    }
  }
  return edges;
}

template <class Part>
std::optional<double> middle_of(const std::vector<EdgeProfile>& edges, Part part) {
  if (edges.empty()) return std::nullopt;
  std::vector<double> values;
  for (const EdgeProfile& edge : edges) values.push_back(edge.*part);
  return core::median(values);
}

void rate_photo(PhotoCheck& check, double smallest_fill_mm, double mean_grey) {
  if (check.cards.empty()) {
    check.faults.push_back(mean_grey < kDark / 2 ? "too dark: no card can be made out; more light"
                           : mean_grey > kClipped - 10
                               ? "burnt out: no card can be made out; less light"
                               : "no card in it: step back so that two lie in the picture");
    return;
  }
  if (check.blur_mm && *check.blur_mm > smallest_fill_mm / 6) {
    check.faults.push_back("blurred: rest the elbows, tap the form to focus, take it again");
  } else if (check.blur_mm && *check.blur_mm > smallest_fill_mm / 12 && *check.blur_px > kPixelsOwnBlur) {
    check.notes.push_back("a little soft: steadier would measure finer");
  }
  if (check.white && *check.white < kDark) check.faults.push_back("too dark: more light, then take it again");
  if (check.white && *check.white > kClipped)
    check.notes.push_back("bright: the paper of the cards is burnt out");
  if (check.white && check.black && *check.white >= kDark && *check.white - *check.black < kLeastContrast)
    check.faults.push_back("hazy: wipe the lens, then take it again");
  if (check.cards.size() == 1) check.notes.push_back("one card in it; two or more place it better");
}

void write_small(const cv::Mat& picture, int exif_orientation, const std::filesystem::path& file) {
  const double scale = std::min(1.0, static_cast<double>(kSmallPx) / std::max(picture.cols, picture.rows));
  cv::Mat small;
  cv::resize(picture, small, cv::Size(), scale, scale, cv::INTER_AREA);
  const int o = exif_orientation;  // as a viewer turns it; EXIF 2.32, tag 274
  if (o >= 5) cv::transpose(small, small);
  const bool left_right = o == 2 || o == 3 || o == 6 || o == 7,
             up_down = o == 3 || o == 4 || o == 7 || o == 8;
  if (left_right) cv::flip(small, small, 1);
  if (up_down) cv::flip(small, small, 0);
  std::vector<std::uint8_t> jpeg;
  cv::imencode(".jpg", small, jpeg, {cv::IMWRITE_JPEG_QUALITY, 80});
  core::write_file_atomically(file,
                              std::string_view(reinterpret_cast<const char*>(jpeg.data()), jpeg.size()));
}

}  // namespace

PhotoCheck check_photo(const std::filesystem::path& photo, double smallest_fill_mm,
                       const std::filesystem::path& small) {
  const camera::PhotoInfo info = camera::read_photo_info(photo);
  PhotoCheck check;
  check.photo = photo.filename().string();
  check.width = info.width;
  check.height = info.height;
  check.focal_px = camera::exif_focal_px(info);
  check.has_focal = info.focal_35mm.has_value();
  // Decoded once, in colour: of a HEIC that is most of the work.
  const cv::Mat picture = camera::read_photo_colour(info);
  write_small(picture, info.exif_orientation, small);
  cv::Mat grey;
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  check.cards = find_cards(grey);
  std::vector<EdgeProfile> edges;
  for (const camera::CardView& card : check.cards) {
    const std::vector<EdgeProfile> of_card = edges_of(grey, card);
    edges.insert(edges.end(), of_card.begin(), of_card.end());
  }
  check.blur_mm = middle_of(edges, &EdgeProfile::sd_mm);
  check.blur_px = middle_of(edges, &EdgeProfile::sd_px);
  check.white = middle_of(edges, &EdgeProfile::high);
  check.black = middle_of(edges, &EdgeProfile::low);
  rate_photo(check, smallest_fill_mm, cv::mean(grey)[0]);
  return check;
}

std::string write_check(const PhotoCheck& check) {
  nlohmann::ordered_json d = {{"format", "interstice-photo-check"},
                              {"version", 1},
                              {"photo", check.photo},
                              {"width", check.width},
                              {"height", check.height},
                              {"focal_px", check.focal_px},
                              {"has_focal", check.has_focal}};
  d["cards"] = nlohmann::ordered_json::array();
  for (const camera::CardView& card : check.cards) {
    nlohmann::ordered_json corners = nlohmann::ordered_json::array();
    for (std::size_t i = 0; i < card.corner_id.size(); ++i)
      corners.push_back({card.corner_id[i], card.pixel[i].x(), card.pixel[i].y(), card.sd_px[i]});
    d["cards"].push_back({{"card", card.card}, {"corners", corners}});
  }
  const auto put = [&](const char* key, const std::optional<double>& x) {
    if (x) d[key] = std::round(*x * 1000) / 1000;
  };
  put("blur_mm", check.blur_mm);
  put("blur_px", check.blur_px);
  put("white", check.white);
  put("black", check.black);
  d["faults"] = check.faults;
  d["notes"] = check.notes;
  return d.dump() + "\n";
}

PhotoCheck parse_check(const std::string& json, const std::string& file) {
  const nlohmann::json document = core::parse_json(json, file);
  const core::JsonNode node(document, file);
  PhotoCheck check;
  check.photo = node.at("photo").text();
  check.width = node.at("width").integer(1, 1 << 20);
  check.height = node.at("height").integer(1, 1 << 20);
  check.focal_px = node.at("focal_px").number(1, 1e7);
  check.has_focal = node.at("has_focal").boolean();
  const core::JsonNode cards = node.at("cards");
  for (std::size_t i = 0; i < cards.size(); ++i) {
    camera::CardView view;
    view.card = cards.at(i).at("card").integer(1, camera::kCards);
    const core::JsonNode corners = cards.at(i).at("corners");
    for (std::size_t k = 0; k < corners.size(); ++k) {
      const std::vector<double> c = corners.at(k).numbers(4);
      if (c[0] < 0 || c[0] >= camera::kCornersPerCard) corners.at(k).fail("no such corner");
      view.corner_id.push_back(static_cast<int>(c[0]));
      view.pixel.emplace_back(c[1], c[2]);
      view.sd_px.push_back(c[3]);
    }
    check.cards.push_back(view);
  }
  const auto take = [&](const char* key, std::optional<double>& x) {
    if (node.has(key)) x = node.at(key).number();
  };
  take("blur_mm", check.blur_mm);
  take("blur_px", check.blur_px);
  take("white", check.white);
  take("black", check.black);
  for (std::size_t i = 0; i < node.at("faults").size(); ++i)
    check.faults.push_back(node.at("faults").at(i).text());
  for (std::size_t i = 0; i < node.at("notes").size(); ++i)
    check.notes.push_back(node.at("notes").at(i).text());
  return check;
}

}  // namespace interstice::bench
