#include "bench/bench.h"

#include "bench/archive_answers.h"
#include "bench/bowl_answers.h"
#include "bench/bowl_pages.h"
#include "bench/guard.h"
#include "bench/network.h"
#include "bench/page_assets.h"
#include "bench/page_frame.h"
#include "bench/pairing_pages.h"
#include "bench/scan_answers.h"
#include "core/errors.h"
#include "sheets/card_sheet.h"

namespace interstice::bench {
namespace {

// A phone that shows a scan asks about twice a second and sends slices in between.
constexpr std::size_t kMostRequestsAMinute = 3000, kMostWrongCodesAMinute = 20;
constexpr std::uint64_t kFormBytes = 8 << 10, kNamesBytes = 256 << 10, kDocumentBytes = 16u << 20;
constexpr std::size_t kReaders = 2;
constexpr auto kPhotoPatience = std::chrono::seconds(60);      // of 200 megapixels, on a slow computer
constexpr auto kPreparingPatience = std::chrono::minutes(10);  // it makes way for everything else
constexpr int kCardsToPrint = 6;

bool is_open_to_all(const Request& request) {
  const std::string first = request.parts.empty() ? "" : request.parts[0];
  return first == "pair" || (first == "assets" && request.method != "POST");
}

std::uint64_t most_bytes(const Request& request) {
  if (request.method != "POST") return 0;
  if (request.parts.size() == 5 && request.parts[4] == "slice") return kMostSliceBytes;
  if (request.parts.size() == 3 && request.parts[2] == "names") return kNamesBytes;
  if (request.parts.size() == 1 && (request.parts[0] == "new" || request.parts[0] == "lenses"))
    return kDocumentBytes;
  return kFormBytes;
}

Response page(const std::string& html, int status = 200) {
  Response response;
  response.status = status;
  response.body = html;
  return response;
}

Response asset(const std::string& name) {
  Response response;
  response.type = name.ends_with(".css") ? "text/css; charset=utf-8" : "text/javascript; charset=utf-8";
  response.headers.emplace_back("Cache-Control", "no-cache");
  if (name == "bench.css") response.body = bench_css();
  if (name == "bench.js") response.body = bench_js();
  if (name == "name.js") response.body = name_js();
  if (name == "shoot.js") response.body = shoot_js();
  return response.body.empty() ? plain(404, "there is no such file") : std::move(response);
}

bool wants_page(const Request& request) {
  return request.header("accept").find("text/html") != std::string::npos;
}

}  // namespace

Bench::Bench(BenchOptions options)
    : options_(std::move(options)),
      folder_(options_.folder),
      pairing_(folder_.own() / "paired.json"),
      requests_(kMostRequestsAMinute),
      wrong_codes_(kMostWrongCodesAMinute),
      workers_(std::make_unique<WorkerPool>(std::vector<std::string>{options_.program, "bench", "--worker"},
                                            kReaders, kPhotoPatience)),
      preparer_(std::make_unique<WorkerPool>(std::vector<std::string>{options_.program, "bench", "--worker"},
                                             1, kPreparingPatience)),
      preparing_(folder_, *preparer_),
      checks_(folder_, *workers_, preparing_),
      uploads_(folder_, *workers_),
      jobs_(std::make_unique<Jobs>(folder_.own() / "jobs", options_.program)),
      services_{folder_, *jobs_, checks_, uploads_, ticks_, options_.log},
      server_(std::make_unique<HttpServer>(HttpOptions{.lan = options_.lan, .port = options_.port},
                                           static_cast<HttpHandler&>(*this))) {}

// Children first: whoever waits for one is answered, and then the connections end.
Bench::~Bench() {
  workers_->close();
  preparer_->close();
  server_.reset();
  jobs_.reset();
}

std::string Bench::own_page() const {
  return "http://127.0.0.1:" + std::to_string(server_->port()) + "/pair/" + pairing_.code();
}

std::vector<std::string> Bench::lan_pages() const {
  std::vector<std::string> pages;
  if (!options_.lan) return pages;
  for (const std::string& address : lan_addresses())
    pages.push_back("http://" + address + ":" + std::to_string(server_->port()) + "/pair/" + pairing_.code());
  return pages;
}

std::optional<std::string> Bench::device_of(const Request& request) const {
  return pairing_.device_of(request.cookie(cookie_name(request.port)));
}

Admission Bench::admit(const Request& head) {
  if (auto refused = refusal(head)) return {std::move(refused), 0};
  if (!requests_.allows(head.peer)) {
    Response response = plain(429, "too many requests; wait a moment");
    response.headers.emplace_back("Retry-After", "10");
    return {std::move(response), 0};
  }
  if (!is_open_to_all(head) && !device_of(head)) {
    if (!wants_page(head)) return {plain(401, "this device is not let in yet"), 0};
    return {page(pair_page("", ""), 401), 0};
  }
  return {std::nullopt, most_bytes(head)};
}

Response Bench::answer(const Request& request) {
  try {
    if (request.parts.size() == 2 && request.parts[0] == "assets") return asset(request.parts[1]);
    if (!request.parts.empty() && request.parts[0] == "pair") return pairing_answer(request);
    return paired_answer(request);
  } catch (const core::InputError& e) {
    const std::string line = core::one_line(e.what(), 600);
    return wants_page(request) ? page(fault_page(line), 400) : plain(400, line);
  }
}

Response Bench::pairing_answer(const Request& request) {
  if (request.method != "POST")
    return page(pair_page(request.parts.size() == 2 ? request.parts[1].substr(0, 40) : "", ""));
  std::map<std::string, std::string> fields = form_fields(request.body);
  const auto token = pairing_.pair(fields["code"], fields["device"]);
  if (!token) {
    const bool slow = !wrong_codes_.allows(request.peer);
    return page(pair_page("", slow ? "Too many wrong codes; wait a minute."
                                   : "That is not the code on the screen. It changes after each device."),
                slow ? 429 : 403);
  }
  options_.log("a device is let in");
  if (options_.on_paired) options_.on_paired();
  Response response = see_other("/");
  response.headers.emplace_back("Set-Cookie", cookie_header(request.port, *token));
  return response;
}

Response Bench::paired_answer(const Request& request) {
  if (request.parts.empty()) return bowls_answer(services_);
  const std::string& first = request.parts[0];
  const std::size_t parts = request.parts.size();
  if (first == "b" && parts >= 2) return bowl_answer(request);
  if (first == "new" && parts == 1) return new_bowl_answer(services_, request);
  if (first == "lenses" && parts == 1 && request.method == "POST") return new_lens_answer(services_, request);
  if (first == "archive" && request.method != "POST")
    return answer_for_archive(services_, request, options_.program);
  if (first == "phones") return phones_answer(request);
  if (first == "work" || first == "work.json") return work_answer(request);
  if (first == "cards.pdf" && parts == 1) {
    const bool letter = request.asked("paper") == "letter";
    Response response;
    response.type = "application/pdf";
    response.body = sheets::cards_pdf(letter ? sheets::Paper::letter : sheets::Paper::a4, kCardsToPrint);
    return response;
  }
  return plain(404, "there is no such page");
}

Response Bench::bowl_answer(const Request& request) {
  const std::optional<Bowl> bowl = folder_.bowl(request.parts[1]);
  if (!bowl) return plain(404, "there is no such bowl");
  if (request.parts.size() < 4 || request.parts[2] != "s") return answer_for_bowl(services_, request, *bowl);
  const std::optional<ScanOfBowl> scan = folder_.scan(bowl->key, request.parts[3]);
  if (!scan) return plain(404, "there is no such scan");
  return answer_for_scan(services_, request, *bowl, *scan);
}

Response Bench::phones_answer(const Request& request) {
  if (request.method == "POST") {
    if (request.parts.size() != 2 || request.parts[1] != "forget")
      return plain(404, "there is no such thing to do");
    pairing_.forget(form_fields(request.body)["id"]);
    return see_other("/phones");
  }
  if (request.parts.size() == 2 && request.parts[1] == "code") return plain(200, pairing_.code());
  PhonePage shown{lan_pages(), pairing_.code(), options_.lan, pairing_.devices(),
                  device_of(request).value_or("")};
  return page(phone_page(shown));
}

Response Bench::work_answer(const Request& request) {
  if (request.method == "POST") {
    if (request.parts.size() != 2 || request.parts[1] != "cancel")
      return plain(404, "there is no such thing to do");
    const std::string id = form_fields(request.body)["id"];
    if (id.empty() || id.size() > 9 || id.find_first_not_of("0123456789") != std::string::npos)
      return plain(400, "there is no such job");
    jobs_->cancel(std::stoi(id));
    return json_answer("{}");
  }
  if (request.parts[0] == "work") return page(work_page());
  std::string list;
  for (const Job& job : jobs_->all()) list += (list.empty() ? "" : ",") + job_json(job);
  return json_answer("{\"jobs\":[" + list + "]}");
}

}  // namespace interstice::bench
