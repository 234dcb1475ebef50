// The bench: the whole job in a browser, served from one folder on the maker's own computer.
//
// Every request passes the guard (bench/guard.h), then all but the pairing pages need the cookie of a paired
// device (bench/pairing.h). Pages are made here; scripts add uploads, progress and ticks.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "bench/http_server.h"
#include "bench/pairing.h"
#include "bench/services.h"
#include "bench/worker_pool.h"

namespace interstice::bench {

struct BenchOptions {
  std::filesystem::path folder;
  bool lan = false;
  std::uint16_t port = 0;                       // 0: any that is free
  std::string program;                          // for children: this program
  std::function<void(const std::string&)> log;  // one line each, without codes and tokens
  std::function<void()> on_paired;              // the code is another one now
};

class Bench : private HttpHandler {
 public:
  // Serves until it is destroyed. Throws InputError: the folder, or the port, cannot be had.
  explicit Bench(BenchOptions options);
  ~Bench() override;

  // Where a browser begins, with the code in it: on this computer, and on others of the network.
  std::string own_page() const;
  std::vector<std::string> lan_pages() const;
  std::uint16_t port() const { return server_->port(); }

 private:
  Admission admit(const Request& head) override;
  Response answer(const Request& request) override;

  Response pairing_answer(const Request& request);
  Response paired_answer(const Request& request);
  Response phones_answer(const Request& request);
  Response work_answer(const Request& request);
  Response bowl_answer(const Request& request);
  std::optional<std::string> device_of(const Request& request) const;

  BenchOptions options_;
  Folder folder_;
  Pairing pairing_;
  RateLimit requests_, wrong_codes_;
  std::unique_ptr<WorkerPool> workers_, preparer_;
  Preparing preparing_;
  Checks checks_;
  Uploads uploads_;
  Ticks ticks_;
  std::unique_ptr<Jobs> jobs_;
  Services services_;
  std::unique_ptr<HttpServer> server_;
};

}  // namespace interstice::bench
