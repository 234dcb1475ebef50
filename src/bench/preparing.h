// What measuring will ask of each photo by itself, done while the next photos are taken and kept beside the scan
// (scan/photo_work.h): the measuring finds it there. By a child that makes way for everything else.
#pragma once

#include <mutex>
#include <set>
#include <string>

#include "bench/folder.h"
#include "bench/worker_pool.h"

namespace interstice::bench {

class Preparing {
 public:
  // `worker`: of its own; what it does takes seconds.
  Preparing(const Folder& folder, WorkerPool& worker) : folder_(folder), worker_(worker) {}

  // A photo that can be read has been seen in a scan; nothing is done twice, or for a nearly full disk.
  void photo_seen(const ScanOfBowl& scan, const std::string& photo);

 private:
  const Folder& folder_;
  WorkerPool& worker_;
  std::mutex mutex_;
  std::set<std::string> asked_;
};

}  // namespace interstice::bench
