// Progress for people: on standard error, only on a terminal or when asked.
#pragma once

#include <string>

namespace interstice::app {

class Progress {
 public:
  Progress(bool quiet, bool asked);
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // Says what is being done; on a terminal the line is overwritten, otherwise (when asked) one line each.
  void step(const std::string& what);

 private:
  bool on_ = false, terminal_ = false;
  std::size_t shown_ = 0;
};

}  // namespace interstice::app
