#include "bench/qr_code.h"

#include <qrencode.h>

#include <memory>

#include "core/errors.h"

namespace interstice::bench {
namespace {

constexpr int kQuiet = 4;  // modules

class Modules {
 public:
  explicit Modules(const std::string& text)
      : code_(QRcode_encodeString8bit(text.c_str(), 0, QR_ECLEVEL_M), &QRcode_free) {
    if (!code_) throw core::InputError("no QR code can be made of this address");
  }
  int side() const { return code_->width; }
  bool dark(int row, int column) const {
    if (row < 0 || column < 0 || row >= side() || column >= side()) return false;
    return (code_->data[row * side() + column] & 1) != 0;
  }

 private:
  std::unique_ptr<QRcode, decltype(&QRcode_free)> code_;
};

}  // namespace

std::string qr_for_terminal(const std::string& text) {
  const Modules modules(text);
  const int from = -kQuiet / 2, to = modules.side() + kQuiet / 2;  // terminals are not printed on
  std::string out;
  for (int row = from; row < to; row += 2) {
    out += "\x1b[30;107m";  // black on bright white
    for (int column = from; column < to; ++column) {
      const bool upper = modules.dark(row, column), lower = modules.dark(row + 1, column);
      out += upper && lower ? "█" : upper ? "▀" : lower ? "▄" : " ";
    }
    out += "\x1b[0m\n";
  }
  return out;
}

std::string qr_svg(const std::string& text) {
  const Modules modules(text);
  const std::string side = std::to_string(modules.side() + 2 * kQuiet);
  std::string path;
  for (int row = 0; row < modules.side(); ++row) {
    for (int column = 0; column < modules.side(); ++column) {
      if (modules.dark(row, column))
        path += "M" + std::to_string(column + kQuiet) + " " + std::to_string(row + kQuiet) + "h1v1h-1z";
    }
  }
  return "<svg class=\"qr\" viewBox=\"0 0 " + side + " " + side +
         "\" role=\"img\" aria-label=\"QR code that opens the bench on a phone\" "
         "shape-rendering=\"crispEdges\"><rect width=\"" +
         side + "\" height=\"" + side + "\" fill=\"#fff\"/><path fill=\"#000\" d=\"" + path + "\"/></svg>";
}

}  // namespace interstice::bench
