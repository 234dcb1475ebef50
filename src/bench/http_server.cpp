#include "bench/http_server.h"

#include <arpa/inet.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/stat.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <chrono>
#include <condition_variable>
#include <cstring>
#include <exception>
#include <map>
#include <mutex>
#include <thread>

#include "core/errors.h"
#include "core/name_check.h"

namespace interstice::bench {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t kHeaderBytes = 16 << 10;
constexpr std::size_t kStackBytes = 1 << 20;
constexpr unsigned kSecondsForAnswer = 600;

// What browsers are to know of every answer.
constexpr std::pair<const char*, const char*> kAlways[] = {
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "same-origin"},
    {"X-Frame-Options", "SAMEORIGIN"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {"Permissions-Policy", "geolocation=(), microphone=(), payment=(), usb=()"},
};
constexpr const char* kPolicy =
    "default-src 'none'; img-src 'self' data: blob:; style-src 'self'; script-src 'self'; connect-src "
    "'self'; "
    "frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'self'";

std::string address_of(const sockaddr* address) {
  char text[INET6_ADDRSTRLEN] = "";
  if (address != nullptr && address->sa_family == AF_INET)
    inet_ntop(AF_INET, &reinterpret_cast<const sockaddr_in*>(address)->sin_addr, text, sizeof text);
  return text;
}

// One request while it is being read.
struct Incoming {
  Request request;
  std::uint64_t most_bytes = 0, counted = 0;
  std::optional<Response> refused;
  bool answered = false;
};

}  // namespace

struct HttpServer::Wire {
  // One connection, for the watch over its time.
  struct Watched {
    int descriptor = -1;
    enum class Phase { headers, body, answer } phase = Phase::headers;
    Clock::time_point since = Clock::now();
    std::uint64_t bytes = 0;
  };

  HttpOptions options;
  HttpHandler* handler = nullptr;
  MHD_Daemon* daemon = nullptr;
  std::uint16_t port = 0;
  std::atomic<std::uint64_t> bodies{0};

  std::mutex mutex;
  std::condition_variable ends;
  bool ending = false;
  std::map<MHD_Connection*, Watched> watched;
  std::thread watch;

  void phase(MHD_Connection* connection, Watched::Phase phase, std::uint64_t bytes = 0) {
    const std::lock_guard<std::mutex> lock(mutex);
    const auto it = watched.find(connection);
    if (it == watched.end()) return;
    if (it->second.phase != phase) it->second.since = Clock::now();
    it->second.phase = phase;
    it->second.bytes = bytes;
  }

  std::uint64_t seconds_allowed(const Watched& w) const {
    switch (w.phase) {
      case HttpServer::Wire::Watched::Phase::headers:
        return options.seconds_for_headers;
      case HttpServer::Wire::Watched::Phase::body:
        return options.seconds_for_body + w.bytes / kSlowestBytesASecond;
      case HttpServer::Wire::Watched::Phase::answer:
        break;
    }
    return kSecondsForAnswer;
  }

  // Ends connections that take too long; the library then cleans up as after any broken connection.
  void keep_watch() {
    std::unique_lock<std::mutex> lock(mutex);
    while (!ends.wait_for(lock, std::chrono::seconds(1), [&] { return ending; })) {
      for (auto& [connection, w] : watched) {
        const auto took = std::chrono::duration_cast<std::chrono::seconds>(Clock::now() - w.since).count();
        if (w.descriptor >= 0 && static_cast<std::uint64_t>(took) > seconds_allowed(w)) {
          ::shutdown(w.descriptor, SHUT_RDWR);
          w.descriptor = -1;
        }
      }
    }
  }

  MHD_Result queue(MHD_Connection* connection, Incoming& incoming, Response response);
  MHD_Result handle(MHD_Connection* connection, Incoming& incoming, const char* data, std::size_t* size);
  void begin(MHD_Connection* connection, Incoming& incoming, const char* url, const char* method);
};

namespace {

MHD_Result take_header(void* incoming, MHD_ValueKind, const char* key, const char* value) {
  Request& request = static_cast<Incoming*>(incoming)->request;
  const std::string name = core::lower_ascii(key);
  const bool fresh = request.headers.emplace(name, value != nullptr ? value : "").second;
  const bool decides = name == "host" || name == "origin" || name == "cookie" || name == "content-length" ||
                       name == "sec-fetch-site";
  if (!fresh && decides) request.repeated_header = true;
  return MHD_YES;
}

MHD_Result take_query(void* incoming, MHD_ValueKind, const char* key, const char* value) {
  static_cast<Incoming*>(incoming)->request.query.emplace(key, value != nullptr ? value : "");
  return MHD_YES;
}

void on_connection(void* wire, MHD_Connection* connection, void**, MHD_ConnectionNotificationCode code) {
  auto& w = *static_cast<HttpServer::Wire*>(wire);
  const std::lock_guard<std::mutex> lock(w.mutex);
  if (code == MHD_CONNECTION_NOTIFY_CLOSED) {
    w.watched.erase(connection);
    return;
  }
  const MHD_ConnectionInfo* info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
  HttpServer::Wire::Watched watched;
  if (info != nullptr) watched.descriptor = info->connect_fd;
  w.watched[connection] = watched;
}

void on_completed(void* wire, MHD_Connection* connection, void** state, MHD_RequestTerminationCode) {
  auto& w = *static_cast<HttpServer::Wire*>(wire);
  if (auto* incoming = static_cast<Incoming*>(*state)) {
    w.bodies -= incoming->counted;
    delete incoming;
    *state = nullptr;
  }
  w.phase(connection, HttpServer::Wire::Watched::Phase::headers);
}

MHD_Result on_request(void* wire, MHD_Connection* connection, const char* url, const char* method,
                      const char*, const char* data, std::size_t* size, void** state) {
  auto& w = *static_cast<HttpServer::Wire*>(wire);
  try {
    if (*state == nullptr) {
      *state = new Incoming;
      w.begin(connection, *static_cast<Incoming*>(*state), url, method);
      auto& incoming = *static_cast<Incoming*>(*state);
      if (!incoming.refused) return MHD_YES;
      incoming.answered = true;
      return w.queue(connection, incoming, std::move(*incoming.refused));
    }
    return w.handle(connection, *static_cast<Incoming*>(*state), data, size);
  } catch (...) {
    return MHD_NO;  // out of memory: the connection ends
  }
}

std::optional<std::uint64_t> announced_bytes(const Request& request) {
  const std::string text = request.header("content-length");
  if (text.empty() || text.size() > 18) return text.empty() ? std::optional<std::uint64_t>(0) : std::nullopt;
  if (text.find_first_not_of("0123456789") != std::string::npos) return std::nullopt;
  return std::stoull(text);
}

Response too_large(std::uint64_t most) {
  return plain(413, "too large: at most " + std::to_string(most) + " bytes here");
}

void set_headers(MHD_Response* wire, const Response& response) {
  const auto has = [&](const char* name) {
    return std::any_of(response.headers.begin(), response.headers.end(),
                       [&](const auto& h) { return h.first == name; });
  };
  MHD_add_response_header(wire, "Content-Type", response.type.c_str());
  for (const auto& [name, value] : kAlways) MHD_add_response_header(wire, name, value);
  if (!has("Content-Security-Policy")) MHD_add_response_header(wire, "Content-Security-Policy", kPolicy);
  if (!has("Cache-Control")) MHD_add_response_header(wire, "Cache-Control", "no-store");
  for (const auto& [name, value] : response.headers)
    MHD_add_response_header(wire, name.c_str(), value.c_str());
}

}  // namespace

void HttpServer::Wire::begin(MHD_Connection* connection, Incoming& incoming, const char* url,
                             const char* method) {
  Request& request = incoming.request;
  request.method = method;
  MHD_get_connection_values(connection, MHD_HEADER_KIND, take_header, &incoming);
  MHD_get_connection_values(connection, MHD_GET_ARGUMENT_KIND, take_query, &incoming);
  const MHD_ConnectionInfo* client = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
  if (client != nullptr) request.peer = address_of(client->client_addr);
  const MHD_ConnectionInfo* info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
  sockaddr_storage own{};
  socklen_t length = sizeof own;
  if (info != nullptr && ::getsockname(info->connect_fd, reinterpret_cast<sockaddr*>(&own), &length) == 0)
    request.local = address_of(reinterpret_cast<sockaddr*>(&own));
  request.port = port;
  phase(connection, HttpServer::Wire::Watched::Phase::body);
  const auto parts = path_parts(url);
  if (!parts) {
    incoming.refused = plain(404, "no such page");
    return;
  }
  request.parts = *parts;
  Admission admission = handler->admit(request);
  incoming.refused = std::move(admission.refused);
  incoming.most_bytes = admission.most_bytes;
  const auto announced = announced_bytes(request);
  if (!incoming.refused && (!announced || *announced > incoming.most_bytes))
    incoming.refused = too_large(incoming.most_bytes);
}

MHD_Result HttpServer::Wire::handle(MHD_Connection* connection, Incoming& incoming, const char* data,
                                    std::size_t* size) {
  if (*size > 0) {
    const std::uint64_t now = incoming.request.body.size() + *size;
    incoming.counted += *size;
    const bool full = (bodies += *size) > options.bodies_bytes;
    // Chunked and never announced, or too much at once: the connection ends, whoever sends tries again.
    if (now > incoming.most_bytes || full) return MHD_NO;
    incoming.request.body.append(data, *size);
    phase(connection, HttpServer::Wire::Watched::Phase::body, now);
    *size = 0;
    return MHD_YES;
  }
  if (incoming.answered) return MHD_YES;
  incoming.answered = true;
  phase(connection, HttpServer::Wire::Watched::Phase::answer);
  Response response;
  try {
    response = handler->answer(incoming.request);
  } catch (const core::InputError& e) {
    response = plain(400, core::one_line(e.what(), 600));
  } catch (const std::exception& e) {
    response = plain(500, "that did not work: " + core::one_line(e.what(), 300));
  }
  return queue(connection, incoming, std::move(response));
}

MHD_Result HttpServer::Wire::queue(MHD_Connection* connection, Incoming&, Response response) {
  phase(connection, HttpServer::Wire::Watched::Phase::answer);
  MHD_Response* wire = nullptr;
  struct stat status {};
  if (response.file && ::fstat(response.file.get(), &status) == 0) {
    wire = MHD_create_response_from_fd64(static_cast<std::uint64_t>(status.st_size), response.file.release());
  } else {
    wire = MHD_create_response_from_buffer(response.body.size(), response.body.data(), MHD_RESPMEM_MUST_COPY);
  }
  if (wire == nullptr) return MHD_NO;
  set_headers(wire, response);
  const MHD_Result result = MHD_queue_response(connection, static_cast<unsigned>(response.status), wire);
  MHD_destroy_response(wire);
  return result;
}

HttpServer::HttpServer(const HttpOptions& options, HttpHandler& handler) : wire_(std::make_unique<Wire>()) {
  wire_->options = options;
  wire_->handler = &handler;
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(options.port);
  address.sin_addr.s_addr = htonl(options.lan ? INADDR_ANY : INADDR_LOOPBACK);
  wire_->daemon = MHD_start_daemon(
      MHD_USE_THREAD_PER_CONNECTION | MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_POLL, options.port, nullptr,
      nullptr, &on_request, wire_.get(), MHD_OPTION_SOCK_ADDR, &address, MHD_OPTION_CONNECTION_LIMIT,
      options.connections, MHD_OPTION_PER_IP_CONNECTION_LIMIT, options.connections_an_address,
      MHD_OPTION_CONNECTION_TIMEOUT, options.seconds_for_body, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
      kHeaderBytes * 2, MHD_OPTION_THREAD_STACK_SIZE, kStackBytes, MHD_OPTION_NOTIFY_COMPLETED, &on_completed,
      wire_.get(), MHD_OPTION_NOTIFY_CONNECTION, &on_connection, wire_.get(), MHD_OPTION_END);
  if (wire_->daemon == nullptr) {
    const std::string port = "port " + std::to_string(options.port) + " cannot be had: ";
    if (errno == EADDRINUSE) throw PortTaken(port + "another program uses it; give another with --port");
    throw core::InputError(port + std::strerror(errno));
  }
  const MHD_DaemonInfo* info = MHD_get_daemon_info(wire_->daemon, MHD_DAEMON_INFO_BIND_PORT);
  wire_->port = info != nullptr ? info->port : options.port;
  wire_->watch = std::thread([wire = wire_.get()] { wire->keep_watch(); });
}

HttpServer::~HttpServer() {
  MHD_stop_daemon(wire_->daemon);
  {
    const std::lock_guard<std::mutex> lock(wire_->mutex);
    wire_->ending = true;
  }
  wire_->ends.notify_all();
  wire_->watch.join();
}

std::uint16_t HttpServer::port() const {
  return wire_->port;
}

}  // namespace interstice::bench
