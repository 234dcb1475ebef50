// The server's wire: requests in, answers out, by libmicrohttpd with a thread a connection, so that one slow
// reader or writer keeps nobody else waiting.
//
// Kept by the wire itself: the number of connections (and from one address), the size of headers, the time a
// request may take to arrive and an answer to be taken (a byte now and then does not prolong it), the size of
// bodies, and the memory all bodies take together.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>

#include "bench/message.h"
#include "core/errors.h"

namespace interstice::bench {

// What a request may bring, said before its body is read.
struct Admission {
  std::optional<Response> refused;
  std::uint64_t most_bytes = 0;  // of the body
};

class HttpHandler {
 public:
  virtual ~HttpHandler() = default;
  // Both are called from many threads at once.
  virtual Admission admit(const Request& head) = 0;
  virtual Response answer(const Request& request) = 0;
};

struct HttpOptions {
  bool lan = false;        // all IPv4 addresses of this computer, else 127.0.0.1 alone
  std::uint16_t port = 0;  // 0: any that is free
  unsigned connections = 600, connections_an_address = 300;
  unsigned seconds_for_headers = 20;        // also: idle between two requests
  unsigned seconds_for_body = 30;           // and on top of it what kSlowestBytesASecond needs
  std::uint64_t bodies_bytes = 256u << 20;  // all bodies together
};

// Slower than this a photo of 4 MB would take over a quarter of an hour.
inline constexpr std::uint64_t kSlowestBytesASecond = 4096;

class PortTaken : public core::InputError {
  using InputError::InputError;
};

class HttpServer {
 public:
  // Throws PortTaken when another program has the port, InputError when it cannot be had for another reason.
  HttpServer(const HttpOptions& options, HttpHandler& handler);
  ~HttpServer();  // waits for answers under way
  HttpServer(const HttpServer&) = delete;
  HttpServer& operator=(const HttpServer&) = delete;

  std::uint16_t port() const;

  struct Wire;

 private:
  std::unique_ptr<Wire> wire_;
};

}  // namespace interstice::bench
