#include "bench/network.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

#include <algorithm>
#include <fstream>
#include <memory>
#include <sstream>

namespace interstice::bench {
namespace {

// As the kernel tells it: interface, destination (0 for the default), ...
std::string default_interface() {
  std::ifstream table("/proc/net/route");
  std::string line;
  std::getline(table, line);  // headings
  while (std::getline(table, line)) {
    std::istringstream in(line);
    std::string interface, destination;
    in >> interface >> destination;
    if (destination == "00000000") return interface;
  }
  return "";
}

}  // namespace

std::vector<std::string> lan_addresses() {
  ifaddrs* all = nullptr;
  if (::getifaddrs(&all) != 0) return {};
  const std::unique_ptr<ifaddrs, decltype(&::freeifaddrs)> owner(all, &::freeifaddrs);
  const std::string first = default_interface();
  std::vector<std::string> addresses;
  for (const ifaddrs* i = all; i != nullptr; i = i->ifa_next) {
    if (i->ifa_addr == nullptr || i->ifa_addr->sa_family != AF_INET) continue;
    if ((i->ifa_flags & IFF_LOOPBACK) != 0 || (i->ifa_flags & IFF_UP) == 0) continue;
    char text[INET_ADDRSTRLEN] = "";
    inet_ntop(AF_INET, &reinterpret_cast<const sockaddr_in*>(i->ifa_addr)->sin_addr, text, sizeof text);
    addresses.insert(first == i->ifa_name ? addresses.begin() : addresses.end(), text);
  }
  return addresses;
}

}  // namespace interstice::bench
