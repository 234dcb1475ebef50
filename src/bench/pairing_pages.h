// The pages that let a phone in, and show who is in.
#pragma once

#include <string>
#include <vector>

#include "bench/pairing.h"

namespace interstice::bench {

std::string pair_page(const std::string& code, const std::string& fault);
struct PhonePage {
  std::vector<std::string> addresses;  // with the code in them
  std::string code;
  bool lan = false;
  std::vector<PairedDevice> devices;
  std::string own_device;
};
std::string phone_page(const PhonePage& page);

}  // namespace interstice::bench
