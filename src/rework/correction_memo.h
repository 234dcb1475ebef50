// What was laid out and measured before: the search tries the same changes of a pair many times over.
#pragma once

#include <functional>
#include <map>
#include <mutex>
#include <vector>

#include "rework/correction_shell.h"

namespace interstice::rework {

using MemoKey = std::vector<double>;

// A change written out, as part of a key.
void append(const PieceChange& change, MemoKey& key);

// Results of pure functions by all they depend on. Safe to use from several threads.
class LayoutMemo {
 public:
  PairWidths widths(const MemoKey& key, const std::function<PairWidths()>& make);
  PieceChange worked(const MemoKey& key, const std::function<PieceChange()>& make);

 private:
  std::mutex mutex_;
  std::map<MemoKey, PairWidths> widths_;
  std::map<MemoKey, PieceChange> worked_;
};

}  // namespace interstice::rework
