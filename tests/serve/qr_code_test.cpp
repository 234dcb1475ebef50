// The codes on the screen, read by a reader that is not ours.
#include "bench/qr_code.h"

#include <gtest/gtest.h>
#include <zbar.h>

#include <cstdio>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

namespace interstice::bench {
namespace {

constexpr int kModulePx = 8;

// ISO/IEC 18004 as ZBar reads it.
std::string read_code(const cv::Mat& picture) {
  zbar::ImageScanner scanner;
  zbar::Image image(static_cast<unsigned>(picture.cols), static_cast<unsigned>(picture.rows), "Y800",
                    picture.data, picture.total());
  scanner.scan(image);
  return image.symbol_begin() == image.symbol_end() ? "" : image.symbol_begin()->get_data();
}

// The drawing's squares ("M4 5h1v1h-1z"), painted.
cv::Mat painted(const std::string& svg) {
  int side = 0;
  EXPECT_EQ(std::sscanf(svg.c_str(), "<svg class=\"qr\" viewBox=\"0 0 %d", &side), 1);
  cv::Mat picture(side * kModulePx, side * kModulePx, CV_8U, cv::Scalar(255));
  for (std::size_t at = svg.find('M'); at != std::string::npos; at = svg.find('M', at + 1)) {
    int x = 0, y = 0;
    if (std::sscanf(svg.c_str() + at, "M%d %dh1v1h-1z", &x, &y) == 2)
      picture(cv::Rect(x * kModulePx, y * kModulePx, kModulePx, kModulePx)) = 0;
  }
  return picture;
}

// As a terminal shows it: each character two modules, one above the other.
cv::Mat painted_terminal(const std::string& text) {
  std::vector<std::vector<int>> rows(1);
  for (std::size_t i = 0; i < text.size();) {
    const auto is = [&](const char* what) { return text.compare(i, std::string(what).size(), what) == 0; };
    if (text[i] == '\x1b') {
      i = text.find('m', i) + 1;
    } else if (text[i] == '\n') {
      rows.emplace_back();
      ++i;
    } else {
      rows.back().push_back(is("█") ? 3 : is("▀") ? 1 : is("▄") ? 2 : 0);
      i += text[i] == ' ' ? 1 : std::string("█").size();
    }
  }
  const int width = static_cast<int>(rows[0].size()) + 4;
  cv::Mat picture(kModulePx * (2 * static_cast<int>(rows.size()) + 4), kModulePx * width, CV_8U,
                  cv::Scalar(255));
  for (std::size_t r = 0; r < rows.size(); ++r) {
    for (std::size_t c = 0; c < rows[r].size(); ++c) {
      for (int half = 0; half < 2; ++half) {
        if ((rows[r][c] >> half & 1) == 0) continue;
        picture(cv::Rect((static_cast<int>(c) + 2) * kModulePx,
                         (2 * static_cast<int>(r) + half + 2) * kModulePx, kModulePx, kModulePx)) = 0;
      }
    }
  }
  return picture;
}

TEST(QrCodeTest, AReaderReadsWhatWasWritten) {
  for (const std::string& text : {std::string("http://192.168.178.123:8417/pair/7KQ2-M4TD-XW9R-H3ZB"),
                                  std::string("http://10.0.0.2:80/pair/A")}) {
    EXPECT_EQ(read_code(painted(qr_svg(text))), text);
    EXPECT_EQ(read_code(painted_terminal(qr_for_terminal(text))), text);
  }
}

}  // namespace
}  // namespace interstice::bench
