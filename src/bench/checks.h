// The checks of a scan's photos: asked of the workers as photos arrive, kept beside the scan, and from all of
// them together where the photos were taken from.
#pragma once

#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "bench/dial.h"
#include "bench/folder.h"
#include "bench/preparing.h"
#include "bench/worker_pool.h"

namespace interstice::bench {

struct CheckedPhoto {
  std::string name;
  bool checked = false;
  int cards = 0;
  std::vector<std::string> faults, notes;
};

struct CheckedScan {
  std::vector<CheckedPhoto> photos;  // in the order of their names
  Dial dial;
  bool whole = false;  // all photos are checked and the dial is of all of them
};

class Checks {
 public:
  Checks(const Folder& folder, WorkerPool& workers, Preparing& preparing)
      : folder_(folder), workers_(workers), preparing_(preparing) {}

  // What is known now; what is not known yet is asked for. Photos that were checked before (by an earlier
  // server too) are not checked again. Those of use are handed on to Preparing.
  CheckedScan of(const ScanOfBowl& scan);

 private:
  struct Known {
    std::map<std::string, CheckedPhoto> photos;
    std::map<std::string, int> asked;  // how often; 0 is never
    std::vector<std::string> dial_of;  // photos it was made of
    bool dial_asked = false;
    Dial dial;
  };
  static std::string key_of(const ScanOfBowl& scan) { return scan.bowl + "/" + scan.key; }
  void ask_check(const ScanOfBowl& scan, const std::string& photo, double smallest_fill_mm);
  void ask_dial(const ScanOfBowl& scan, const std::vector<std::string>& photos);
  CheckedPhoto read_check(const ScanOfBowl& scan, const std::string& photo) const;
  double smallest_fill_mm(const std::string& bowl) const;

  const Folder& folder_;
  WorkerPool& workers_;
  Preparing& preparing_;
  std::mutex mutex_;
  std::map<std::string, Known> known_;
};

}  // namespace interstice::bench
