// Inside the bench: a job's own file, and what it said.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "bench/jobs.h"

namespace interstice::bench {

struct JobRecord {
  Job job;
  pid_t pid = -1;
  unsigned long long start = 0;
  int begun = 0;
};

std::string write_job(const JobRecord& record);
std::optional<JobRecord> read_job(const std::filesystem::path& file);  // nothing for a damaged one

// The last line of progress, and the last line that gives a reason ("interstice: ..."), without its front.
std::string last_stage(const std::filesystem::path& said);
std::string last_fault(const std::filesystem::path& said);

}  // namespace interstice::bench
