// Indices that cannot be mixed up: a TileIndex is not a PhotoIndex, and neither turns into the other.
#pragma once

#include <compare>
#include <cstddef>
#include <vector>

namespace interstice::geometry {

template <class Tag>
struct Index {
  std::size_t value = 0;
  constexpr Index() = default;
  constexpr explicit Index(std::size_t v) : value(v) {}
  friend constexpr auto operator<=>(Index, Index) = default;
};

using TileIndex = Index<struct TileTag>;
using SeamIndex = Index<struct SeamTag>;
using PhotoIndex = Index<struct PhotoTag>;
using CardIndex = Index<struct CardTag>;

// Indices one after the other, from the first to before the last.
template <class I>
class IndexRange {
 public:
  class Iterator {
   public:
    constexpr explicit Iterator(std::size_t at) : at_(at) {}
    constexpr I operator*() const { return I(at_); }
    constexpr Iterator& operator++() {
      ++at_;
      return *this;
    }
    friend constexpr bool operator==(Iterator, Iterator) = default;

   private:
    std::size_t at_;
  };
  constexpr IndexRange(std::size_t first, std::size_t last) : first_(first), last_(last) {}
  constexpr Iterator begin() const { return Iterator(first_); }
  constexpr Iterator end() const { return Iterator(last_); }

 private:
  std::size_t first_, last_;
};

// A vector that is only addressed by its own kind of index.
template <class I, class T>
class IndexedVector {
 public:
  IndexedVector() = default;
  explicit IndexedVector(std::size_t n, const T& value = T()) : items_(n, value) {}
  explicit IndexedVector(std::vector<T> items) : items_(std::move(items)) {}
  T& operator[](I i) { return items_[i.value]; }
  const T& operator[](I i) const { return items_[i.value]; }
  I push_back(T item) {
    items_.push_back(std::move(item));
    return I(items_.size() - 1);
  }
  void assign(std::size_t n, const T& value) { items_.assign(n, value); }
  void resize(std::size_t n) { items_.resize(n); }
  IndexRange<I> indices() const { return {0, items_.size()}; }
  std::size_t size() const { return items_.size(); }
  bool empty() const { return items_.empty(); }
  auto begin() { return items_.begin(); }
  auto end() { return items_.end(); }
  auto begin() const { return items_.begin(); }
  auto end() const { return items_.end(); }
  const std::vector<T>& raw() const { return items_; }
  friend bool operator==(const IndexedVector&, const IndexedVector&) = default;

 private:
  std::vector<T> items_;
};

}  // namespace interstice::geometry
