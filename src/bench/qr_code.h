// A QR code (ISO/IEC 18004) of an address, made by libqrencode.
#pragma once

#include <string>

namespace interstice::bench {

// As half blocks, two rows of modules a line, dark on light whatever the terminal's colours.
std::string qr_for_terminal(const std::string& text);
// As a drawing for a page, with the quiet zone of four modules that the standard asks for.
std::string qr_svg(const std::string& text);

}  // namespace interstice::bench
