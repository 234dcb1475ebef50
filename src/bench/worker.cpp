#include "bench/worker.h"

#include <malloc.h>
#include <poll.h>
#include <sys/resource.h>
#include <unistd.h>

#include <iostream>
#include <nlohmann/json.hpp>

#include "archive/photo_privacy.h"
#include "bench/photo_check.h"
#include "bench/standpoints.h"
#include "camera/photo.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/kept_work.h"
#include "plan/plan.h"
#include "scan/photo_work.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

using Json = nlohmann::ordered_json;

constexpr int kIdleMs = 3000;
constexpr int kPatient = 10;  // nice
// Decoding 200 megapixels takes 0.6 GB, in a few copies.
constexpr rlim_t kMostMemory = rlim_t{6} << 30;

Json fault(const std::string& what) {
  return {{"ok", false}, {"fault", what}};
}

const char* ending_of(const std::string& bytes) {
  if (bytes.starts_with("\xff\xd8")) return "jpg";
  if (bytes.starts_with("\x89PNG")) return "png";
  if (bytes.starts_with("RIFF")) return "webp";
  if (bytes.starts_with("II") || bytes.starts_with("MM")) return "tif";
  return "heic";
}

Json clean(const core::JsonNode& question) {
  const fs::path in = question.at("in").text(4096), out = question.at("out").text(4096);
  const std::string received = core::read_file(in);
  if (!archive::is_picture_content(received)) return fault("is no photo (JPEG, HEIC, PNG, TIFF or WebP)");
  std::string cleaned;
  try {
    cleaned = archive::clean_picture(received, "");
  } catch (const core::InputError& e) {
    const std::string line = e.what();  // ": is cut short or damaged"; whoever asked knows which photo
    return fault(line.starts_with(": ") ? line.substr(2) : line);
  }
  core::write_file_atomically(out, cleaned);
  const camera::PhotoInfo info = camera::read_photo_info(out);
  return {{"ok", true}, {"ending", ending_of(cleaned)}, {"width", info.width}, {"height", info.height}};
}

Json check(const core::JsonNode& question) {
  const PhotoCheck found =
      check_photo(question.at("photo").text(4096), question.at("smallest_fill_mm").number(0.05, 50),
                  question.at("small").text(4096));
  core::write_file_atomically(question.at("check").text(4096), write_check(found));
  return {{"ok", true}};
}

// What measuring will ask of the photo, done now and kept. It makes way for whatever else runs.
Json prepare(const core::JsonNode& question) {
  static const std::string program = core::this_program();
  ::setpriority(PRIO_PROCESS, 0, kPatient);
  std::optional<camera::Lens> lens;
  if (const std::string file = question.at("lens").text(4096); !file.empty()) lens = camera::read_lens(file);
  scan::prepare_photo(question.at("photo").text(4096), lens,
                      scan::search_space(plan::read_plan(question.at("plan").text(4096))),
                      core::KeptWork(question.at("kept").text(4096), program));
  return {{"ok", true}};
}

Json stand(const core::JsonNode& question) {
  const fs::path folder = question.at("checks").text(4096);
  std::vector<PhotoCheck> checks;
  const core::JsonNode photos = question.at("photos");
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const fs::path file = folder / (photos.at(i).text() + ".json");
    checks.push_back(parse_check(core::read_file(file, 4 << 20), file.string()));
  }
  std::optional<camera::Lens> lens;
  if (const std::string file = question.at("lens").text(4096); !file.empty()) lens = camera::read_lens(file);
  const Dial dial = standpoints(checks, lens);
  Json answer = {{"ok", true}, {"card_at_twelve", dial.card_at_twelve}};
  answer["standpoints"] = Json::array();
  for (const Standpoint& s : dial.standpoints) {
    answer["standpoints"].push_back({{"photo", s.photo},
                                     {"clock_deg", s.clock_deg},
                                     {"height_deg", s.height_deg},
                                     {"distance_mm", s.distance_mm}});
  }
  return answer;
}

}  // namespace

std::string answer_question(const std::string& line) {
  Json answer;
  try {
    const nlohmann::json document = core::parse_json(line, "question");
    const core::JsonNode question(document, "question");
    const std::string what = question.at("do").text();
    answer = what == "clean"     ? clean(question)
             : what == "check"   ? check(question)
             : what == "prepare" ? prepare(question)
                                 : stand(question);
  } catch (const camera::PhotoError& e) {
    answer = fault(e.reason());
  } catch (const std::exception& e) {
    answer = fault(core::one_line(e.what(), 300));
  }
  return answer.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void work_for_bench() {
  const rlimit memory{kMostMemory, kMostMemory};
  ::setrlimit(RLIMIT_AS, &memory);
  const rlimit no_core{0, 0};
  ::setrlimit(RLIMIT_CORE, &no_core);
  std::string line;
  for (;;) {
    // Questions come one at a time, so nothing is buffered here. Between photos memory is kept, later given back.
    pollfd question{STDIN_FILENO, POLLIN, 0};
    if (::poll(&question, 1, kIdleMs) == 0) ::malloc_trim(0);
    if (!std::getline(std::cin, line)) return;
    std::cout << answer_question(line) << std::endl;
  }
}

Dial parse_dial(const std::string& answer) {
  Dial dial;
  try {
    const nlohmann::json document = core::parse_json(answer, "answer");
    const core::JsonNode node(document, "answer");
    if (!node.at("ok").boolean()) return dial;
    dial.card_at_twelve = node.at("card_at_twelve").integer(0, 12);
    const core::JsonNode all = node.at("standpoints");
    for (std::size_t i = 0; i < all.size(); ++i) {
      const core::JsonNode s = all.at(i);
      dial.standpoints.push_back({s.at("photo").text(), s.at("clock_deg").number(),
                                  s.at("height_deg").number(), s.at("distance_mm").number()});
    }
  } catch (const core::InputError&) {
    return Dial();
  }
  return dial;
}

}  // namespace interstice::bench
