#include "scan/kept_bytes.h"

#include <cmath>
#include <cstdint>
#include <cstring>

namespace interstice::scan {
namespace {

constexpr int kDescriptorBytes = 128;

class Writer {
 public:
  template <class T>
  void put(T value) {
    bytes_.append(reinterpret_cast<const char*>(&value), sizeof value);
  }
  void put(const void* from, std::size_t count) { bytes_.append(static_cast<const char*>(from), count); }
  std::string take() { return std::move(bytes_); }

 private:
  std::string bytes_;
};

class Reader {
 public:
  explicit Reader(const std::string& bytes) : left_(bytes) {}

  std::uint32_t count(std::size_t bytes_each) {
    std::uint32_t n = 0;
    read(&n, sizeof n);
    if (n > left_.size() / bytes_each) bad_ = true;
    return bad_ ? 0 : n;
  }
  double number() {
    double x = 0;
    read(&x, sizeof x);
    if (!std::isfinite(x)) bad_ = true;
    return x;
  }
  int whole(int low, int high) {
    std::int32_t n = 0;
    read(&n, sizeof n);
    if (n < low || n > high) bad_ = true;
    return n;
  }
  void read(void* to, std::size_t count) {
    if (count > left_.size()) bad_ = true;
    if (bad_) return;
    std::memcpy(to, left_.data(), count);
    left_.remove_prefix(count);
  }
  bool good() const { return !bad_; }
  bool at_end() const { return !bad_ && left_.empty(); }

 private:
  std::string_view left_;
  bool bad_ = false;
};

}  // namespace

std::string bytes_of(const std::vector<camera::CardView>& cards) {
  Writer out;
  out.put(static_cast<std::uint32_t>(cards.size()));
  for (const camera::CardView& card : cards) {
    out.put(static_cast<std::int32_t>(card.card));
    out.put(static_cast<std::uint32_t>(card.corner_id.size()));
    for (std::size_t i = 0; i < card.corner_id.size(); ++i) {
      out.put(static_cast<std::int32_t>(card.corner_id[i]));
      out.put(card.pixel[i].x());
      out.put(card.pixel[i].y());
      out.put(card.sd_px[i]);
    }
  }
  return out.take();
}

std::optional<std::vector<camera::CardView>> cards_from_bytes(const std::string& bytes) {
  Reader in(bytes);
  std::vector<camera::CardView> cards(in.count(8));
  for (camera::CardView& card : cards) {
    card.card = in.whole(1, camera::kCards);
    const std::uint32_t corners = in.count(28);
    for (std::uint32_t i = 0; i < corners && in.good(); ++i) {
      card.corner_id.push_back(in.whole(0, camera::kCornersPerCard - 1));
      const double x = in.number(), y = in.number();
      card.pixel.emplace_back(x, y);
      card.sd_px.push_back(in.number());
      if (!(card.sd_px.back() > 0)) return std::nullopt;
    }
  }
  if (!in.at_end()) return std::nullopt;
  return cards;
}

std::string bytes_of(const Features& features) {
  Writer out;
  out.put(static_cast<std::uint32_t>(features.pixel.size()));
  for (std::size_t i = 0; i < features.pixel.size(); ++i) {
    out.put(features.pixel[i].x());
    out.put(features.pixel[i].y());
    out.put(features.sd_px[i]);
    out.put(features.strength[i]);
    out.put(features.descriptors.ptr(static_cast<int>(i)), kDescriptorBytes);
  }
  return out.take();
}

std::optional<Features> features_from_bytes(const std::string& bytes) {
  Reader in(bytes);
  const std::uint32_t n = in.count(3 * sizeof(double) + sizeof(float) + kDescriptorBytes);
  Features out;
  out.descriptors.create(static_cast<int>(n), kDescriptorBytes, CV_8U);
  for (std::uint32_t i = 0; i < n && in.good(); ++i) {
    const double x = in.number(), y = in.number();
    out.pixel.emplace_back(x, y);
    out.sd_px.push_back(in.number());
    if (!(out.sd_px.back() > 0)) return std::nullopt;
    float strength = 0;
    in.read(&strength, sizeof strength);
    if (!std::isfinite(strength)) return std::nullopt;
    out.strength.push_back(strength);
    in.read(out.descriptors.ptr(static_cast<int>(i)), kDescriptorBytes);
  }
  if (!in.at_end()) return std::nullopt;
  return out;
}

}  // namespace interstice::scan
