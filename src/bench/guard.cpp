#include "bench/guard.h"

namespace interstice::bench {
namespace {

bool is_own_host(const Request& request) {
  const std::string port = ":" + std::to_string(request.port);
  const std::string host = request.header("host");
  if (host == request.local + port) return true;
  return request.local == "127.0.0.1" && host == "localhost" + port;
}

}  // namespace

std::string origin_of(const Request& request) {
  return "http://" + request.header("host");
}

std::string cookie_name(std::uint16_t port) {
  return "interstice_" + std::to_string(port);
}

std::string cookie_header(std::uint16_t port, const std::string& token) {
  constexpr int kDays = 180;  // a piece takes weeks
  return cookie_name(port) + "=" + token +
         "; Path=/; HttpOnly; SameSite=Strict; Max-Age=" + std::to_string(kDays * 24 * 3600);
}

std::optional<Response> refusal(const Request& request) {
  if (request.repeated_header) return plain(400, "a header that decides stands twice");
  if (!is_own_host(request)) return plain(421, "this address is not the bench's own");
  if (request.method == "GET" || request.method == "HEAD") return std::nullopt;
  if (request.method != "POST") return plain(405, "GET, HEAD and POST are known here");
  const std::string origin = request.header("origin"), site = request.header("sec-fetch-site");
  const bool own = origin.empty() ? site == "same-origin" : origin == origin_of(request);
  if (!own || (!site.empty() && site != "same-origin"))
    return plain(403, "this was not asked by a page of the bench");
  return std::nullopt;
}

}  // namespace interstice::bench
