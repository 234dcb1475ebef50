// Addresses of this computer that a phone on the same network may reach it at.
#pragma once

#include <string>
#include <vector>

namespace interstice::bench {

// IPv4, without loopback; the one of the interface with the default route first.
std::vector<std::string> lan_addresses();

}  // namespace interstice::bench
