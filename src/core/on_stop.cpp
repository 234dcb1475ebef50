#include "core/on_stop.h"

#include <algorithm>
#include <mutex>
#include <vector>

namespace interstice::core {
namespace {

std::mutex& mutex() {
  static std::mutex it;
  return it;
}
std::vector<const std::function<void()>*>& living() {
  static std::vector<const std::function<void()>*> all;
  return all;
}

}  // namespace

OnStop::OnStop(std::function<void()> undo) : undo_(std::move(undo)) {
  const std::scoped_lock lock(mutex());
  living().push_back(&undo_);
}

OnStop::~OnStop() {
  const std::scoped_lock lock(mutex());
  std::erase(living(), &undo_);
}

void undo_on_stop() {
  mutex().lock();  // for good: whoever comes to its OnStop's end now waits for the end of the process
  for (auto it = living().rbegin(); it != living().rend(); ++it) (**it)();
}

}  // namespace interstice::core
