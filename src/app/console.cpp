#include "app/console.h"

#include <unistd.h>

#include <cstdio>

namespace interstice::app {

Progress::Progress(bool quiet, bool asked) : terminal_(::isatty(STDERR_FILENO) == 1) {
  on_ = !quiet && (terminal_ || asked);
}

Progress::~Progress() {
  if (on_ && terminal_ && shown_ > 0) std::fprintf(stderr, "\r%*s\r", static_cast<int>(shown_), "");
}

void Progress::step(const std::string& what) {
  if (!on_) return;
  if (terminal_) {
    const std::size_t pad = shown_ > what.size() ? shown_ - what.size() : 0;
    std::fprintf(stderr, "\r%s%*s", what.c_str(), static_cast<int>(pad), "");
    std::fflush(stderr);
  } else {
    std::fprintf(stderr, "%s\n", what.c_str());
  }
  shown_ = what.size();
}

}  // namespace interstice::app
