// The index of a photo or a card in a solution of the cards.
#pragma once

#include <cstddef>
#include <map>
#include <optional>

#include "scan/card_poses.h"

namespace interstice::scan {

// Where photos and cards stand in a solution, by the numbers they are known by outside.
class Places {
 public:
  explicit Places(const CardPoses& poses) {
    for (std::size_t i = 0; i < poses.photos.size(); ++i) photo_[poses.photos[i]] = geometry::PhotoIndex(i);
    for (std::size_t i = 0; i < poses.cards.size(); ++i) card_[poses.cards[i]] = geometry::CardIndex(i);
  }
  std::optional<geometry::PhotoIndex> photo(std::size_t number) const { return find(photo_, number); }
  std::optional<geometry::CardIndex> card(int number) const { return find(card_, number); }

 private:
  template <class Map, class Key>
  static std::optional<typename Map::mapped_type> find(const Map& map, const Key& key) {
    const auto it = map.find(key);
    return it == map.end() ? std::nullopt : std::optional(it->second);
  }
  std::map<std::size_t, geometry::PhotoIndex> photo_;
  std::map<int, geometry::CardIndex> card_;
};

}  // namespace interstice::scan
