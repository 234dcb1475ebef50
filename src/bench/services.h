// What the pages' answers draw on.
#pragma once

#include <functional>
#include <string>

#include "bench/checks.h"
#include "bench/folder.h"
#include "bench/jobs.h"
#include "bench/message.h"
#include "bench/ticks.h"
#include "bench/uploads.h"

namespace interstice::bench {

struct Services {
  Folder& folder;
  Jobs& jobs;
  Checks& checks;
  Uploads& uploads;
  Ticks& ticks;
  std::function<void(const std::string&)> log;
};

// A file of the folder as an answer; 404 when it is not there.
Response file_answer(const Folder& folder, const std::vector<std::string>& parts, const std::string& type,
                     const std::string& save_as = "");
// Puts a job into the row; afterwards the browser goes to `place`, a script gets the job's number.
Response order_job(const Services& services, const Request& request, const JobOrder& order,
                   const std::string& place);

}  // namespace interstice::bench
