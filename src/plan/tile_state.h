// What photos say of a planned piece.
#pragma once

namespace interstice::plan {

enum class TileState { placed, absent, unseen };

constexpr const char* name_of(TileState state) {
  constexpr const char* names[] = {"placed", "absent", "unseen"};
  return names[static_cast<int>(state)];
}

}  // namespace interstice::plan
