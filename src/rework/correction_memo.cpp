#include "rework/correction_memo.h"

namespace interstice::rework {
namespace {

template <class Value>
Value looked_up(std::mutex& mutex, std::map<MemoKey, Value>& known, const MemoKey& key,
                const std::function<Value()>& make) {
  {
    const std::lock_guard lock(mutex);
    if (const auto found = known.find(key); found != known.end()) return found->second;
  }
  Value made = make();
  const std::lock_guard lock(mutex);
  known.emplace(key, made);
  return made;
}

}  // namespace

void append(const PieceChange& change, MemoKey& key) {
  key.insert(key.end(), {change.move.along_mm, change.move.towards_pole_mm, change.move.turn_deg,
                         static_cast<double>(change.sanded.size())});
  for (std::size_t i = 0; i < change.sanded.size(); ++i) {
    const SandedStretch& s = change.sanded[i];
    key.insert(key.end(),
               {s.from_mm, s.to_mm, s.depth_mm, s.ease_deg, static_cast<double>(change.facing[i].value)});
  }
}

PairWidths LayoutMemo::widths(const MemoKey& key, const std::function<PairWidths()>& make) {
  return looked_up(mutex_, widths_, key, make);
}

PieceChange LayoutMemo::worked(const MemoKey& key, const std::function<PieceChange()>& make) {
  return looked_up(mutex_, worked_, key, make);
}

}  // namespace interstice::rework
