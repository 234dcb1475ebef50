// What has to be undone when the program is told to stop (Ctrl-C) while it is at work.
#pragma once

#include <functional>

namespace interstice::core {

// While it lives, undo_on_stop() calls `undo`: from another thread, at most once, and the process ends after
// it. `undo` must not throw.
class OnStop {
 public:
  explicit OnStop(std::function<void()> undo);
  ~OnStop();
  OnStop(const OnStop&) = delete;
  OnStop& operator=(const OnStop&) = delete;

 private:
  std::function<void()> undo_;
};

// For the program's end by a signal; the caller ends the process. Threads whose OnStop ends meanwhile wait
// for that.
void undo_on_stop();

}  // namespace interstice::core
