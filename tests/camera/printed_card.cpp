#include "camera/printed_card.h"

#include <unistd.h>

#include <fstream>
#include <numeric>
#include <opencv2/aruco.hpp>
#include <sstream>

namespace interstice::testing_support {
namespace {

constexpr double kSheetX = 210, kSheetY = 148, kSquare = 24, kMarker = 18;
constexpr int kColumns = 8, kRows = 5;

const cv::Mat& marker_bits(int id) {
  static std::vector<cv::Mat> all(250);
  if (all[static_cast<std::size_t>(id)].empty()) {
    cv::aruco::drawMarker(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250), id, 7,
                          all[static_cast<std::size_t>(id)], 1);
  }
  return all[static_cast<std::size_t>(id)];
}

int coprime_near(int n, double wanted) {
  int k = static_cast<int>(std::lround(wanted));
  while (std::gcd(k, n) != 1) ++k;
  return k;
}

}  // namespace

double card_ink(int card, double x_mm, double y_mm) {
  if (std::abs(x_mm) > kSheetX / 2 || std::abs(y_mm) > kSheetY / 2) return -1;
  const double u = x_mm + kColumns * kSquare / 2,
               v = kRows * kSquare / 2 - y_mm;  // from the board's top left
  if (u < 0 || v < 0 || u >= kColumns * kSquare || v >= kRows * kSquare) return 1;
  const int column = static_cast<int>(u / kSquare), row = static_cast<int>(v / kSquare);
  if ((row + column) % 2 == 0) return 0;
  const double inset = (kSquare - kMarker) / 2;
  const double mu = u - column * kSquare - inset, mv = v - row * kSquare - inset;
  if (mu < 0 || mv < 0 || mu >= kMarker || mv >= kMarker) return 1;
  int before = 0;  // white squares before this one, row by row
  for (int r = 0; r <= row; ++r) {
    for (int c = 0; c < (r < row ? kColumns : column); ++c) before += (r + c) % 2;
  }
  const cv::Mat& bits = marker_bits(20 * (card - 1) + before);
  return bits.at<uchar>(static_cast<int>(mv / kMarker * 7), static_cast<int>(mu / kMarker * 7)) ? 1 : 0;
}

cv::Mat draw_cards(const camera::Lens& lens, const std::vector<PlacedCard>& cards, int samples) {
  // Slopes at the pixels' corners; between them they are straight to a millionth of a pixel.
  std::vector<Eigen::Vector2d> slope;
  for (int y = 0; y <= lens.height; ++y) {
    for (int x = 0; x <= lens.width; ++x) slope.push_back(lens.undistort({x - 0.5, y - 0.5}).hnormalized());
  }
  std::vector<Eigen::Isometry3d> card_T_camera;
  for (const PlacedCard& c : cards) card_T_camera.push_back(c.camera_T_card.inverse());
  const auto value = [&](const Eigen::Vector2d& at) {
    double seen = 0.5;
    for (std::size_t k = 0; k < cards.size(); ++k) {
      const Eigen::Vector3d origin = card_T_camera[k].translation();
      const Eigen::Vector3d way = card_T_camera[k].linear() * at.homogeneous();
      const Eigen::Vector3d hit = origin - way * (origin.z() / way.z());
      const double ink = card_ink(cards[k].card, hit.x(), hit.y());
      if (ink >= 0) seen = ink;
    }
    return seen;
  };
  cv::Mat picture(lens.height, lens.width, CV_8UC1);
  // A lattice in which no two rays share a row or a column: on a plain grid an edge along the pixels would
  // jump.
  const int rays = samples * samples, skip = coprime_near(rays, 0.6180339887498949 * rays);
  const std::size_t row = static_cast<std::size_t>(lens.width) + 1;
  for (int y = 0; y < lens.height; ++y) {
    for (int x = 0; x < lens.width; ++x) {
      const std::size_t i = static_cast<std::size_t>(y) * row + static_cast<std::size_t>(x);
      double sum = 0;
      for (int n = 0; n < rays; ++n) {
        const double a = (n + 0.5) / rays, b = (n * skip % rays + 0.5) / rays;
        sum += value((1 - b) * ((1 - a) * slope[i] + a * slope[i + 1]) +
                     b * ((1 - a) * slope[i + row] + a * slope[i + row + 1]));
      }
      picture.at<uchar>(y, x) = cv::saturate_cast<uchar>(25 + 205 * sum / rays);
    }
  }
  return picture;
}

PlacedCard place_card(const camera::Lens& lens, int card, const Eigen::Vector2d& pixel, double distance_mm,
                      double tilt_deg, double towards_deg, double turn_deg) {
  constexpr double kDeg = M_PI / 180;
  // Facing the camera: card x right, y up in the picture, z towards the camera.
  Eigen::Matrix3d facing;
  facing << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  const Eigen::Vector3d axis(-std::sin(towards_deg * kDeg), std::cos(towards_deg * kDeg), 0);
  PlacedCard placed;
  placed.card = card;
  placed.camera_T_card.linear() = Eigen::AngleAxisd(tilt_deg * kDeg, axis) * facing *
                                  Eigen::AngleAxisd(turn_deg * kDeg, Eigen::Vector3d::UnitZ());
  placed.camera_T_card.translation() = lens.undistort(pixel) * distance_mm;
  return placed;
}

Eigen::Vector2d true_corner(const camera::Lens& lens, const PlacedCard& placed, int corner_id) {
  const int row = corner_id / (kColumns - 1), column = corner_id % (kColumns - 1);
  const Eigen::Vector3d p((column + 1) * kSquare - kColumns * kSquare / 2,
                          kRows * kSquare / 2 - (row + 1) * kSquare, 0);
  return lens.project(placed.camera_T_card * p);
}

TemporaryFolder::TemporaryFolder() {
  std::string name = (std::filesystem::temp_directory_path() / "interstice-camera-XXXXXX").string();
  if (!::mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
  path_ = name;
}

TemporaryFolder::~TemporaryFolder() {
  std::error_code ec;
  std::filesystem::remove_all(path_, ec);
}

std::string bytes_of(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

void write_bytes(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

}  // namespace interstice::testing_support
