#include "bench/job_file.h"

#include <array>
#include <fstream>

#include "core/errors.h"
#include "core/json_reader.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr std::array kStates{JobState::waiting, JobState::running, JobState::done,
                             JobState::failed,  JobState::crashed, JobState::cancelled};
constexpr std::string_view kFront = "interstice: ";

std::string last_line(const fs::path& said, bool fault) {
  std::ifstream in(said, std::ios::binary);
  constexpr std::streamoff kEnd = 8192;
  in.seekg(0, std::ios::end);
  const std::streamoff size = in.tellg();
  in.seekg(std::max<std::streamoff>(0, size - kEnd));
  std::string line, last;
  while (std::getline(in, line)) {
    if (in.eof()) break;  // not finished yet
    if (line.starts_with(kFront) == fault && !line.empty()) last = fault ? line.substr(kFront.size()) : line;
  }
  return core::one_line(last, 400);
}

}  // namespace

const char* name_of(JobState state) {
  switch (state) {
    case JobState::waiting:
      return "waiting";
    case JobState::running:
      return "running";
    case JobState::done:
      return "done";
    case JobState::failed:
      return "failed";
    case JobState::crashed:
      return "crashed";
    case JobState::cancelled:
      break;
  }
  return "cancelled";
}

bool is_over(JobState state) {
  return state != JobState::waiting && state != JobState::running;
}

std::string write_job(const JobRecord& record) {
  const Job& job = record.job;
  const nlohmann::ordered_json document = {{"format", "interstice-bench-job"},
                                           {"version", 1},
                                           {"id", job.id},
                                           {"kind", job.order.kind},
                                           {"bowl", job.order.bowl},
                                           {"scan", job.order.scan},
                                           {"words", job.order.words},
                                           {"photos", job.order.photos},
                                           {"steps", job.order.steps},
                                           {"state", name_of(job.state)},
                                           {"step", job.step},
                                           {"message", job.message},
                                           {"pid", record.pid},
                                           {"start", std::to_string(record.start)},
                                           {"begun", record.begun}};
  return document.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

std::optional<JobRecord> read_job(const fs::path& file) {
  try {
    const nlohmann::json document = core::read_json(file, 1 << 20);
    const core::JsonNode node(document, file.string());
    JobRecord record;
    Job& job = record.job;
    job.id = node.at("id").integer(1, 1 << 30);
    job.order.kind = node.at("kind").text();
    job.order.bowl = node.at("bowl").text();
    job.order.scan = node.at("scan").text();
    job.order.words = node.at("words").text(1000);
    job.order.photos = static_cast<std::size_t>(node.at("photos").integer(0, 1 << 20));
    const core::JsonNode steps = node.at("steps");
    for (std::size_t i = 0; i < steps.size(); ++i) {
      job.order.steps.emplace_back();
      for (std::size_t k = 0; k < steps.at(i).size(); ++k)
        job.order.steps.back().push_back(steps.at(i).at(k).text(4096));
    }
    const std::string state = node.at("state").text();
    for (const JobState s : kStates) {
      if (state == name_of(s)) job.state = s;
    }
    job.step = static_cast<std::size_t>(node.at("step").integer(0, 100));
    job.message = node.at("message").text(1000);
    record.pid = node.at("pid").integer(-1, 1 << 30);
    record.start = std::stoull(node.at("start").text());
    record.begun = node.at("begun").integer(0, 1000);
    if (job.step >= job.order.steps.size() && !is_over(job.state)) return std::nullopt;
    return record;
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

std::string last_stage(const fs::path& said) {
  return last_line(said, false);
}
std::string last_fault(const fs::path& said) {
  return last_line(said, true);
}

}  // namespace interstice::bench
