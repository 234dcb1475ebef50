// Which phones and computers may use the bench.
//
// A device is let in by a code that only this computer's screen shows: 80 random bits as sixteen letters and
// digits, good for one device; the next code is made at once. The device then holds a random token of 256
// bits in a cookie; kept here is only the token's SHA-256.
#pragma once

#include <chrono>
#include <deque>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

namespace interstice::bench {

// `bytes` random bytes of the system, as lower-case hexadecimal digits.
std::string random_hex(std::size_t bytes);

// How often something may happen: `most` times in any minute, for each name. Safe to use from many threads.
class RateLimit {
 public:
  using Clock = std::chrono::steady_clock;
  explicit RateLimit(std::size_t most_a_minute) : most_(most_a_minute) {}
  // Counts it; false when it was once too often.
  bool allows(const std::string& name, Clock::time_point now = Clock::now());

 private:
  std::size_t most_;
  std::mutex mutex_;
  std::map<std::string, std::deque<Clock::time_point>> at_;
};

struct PairedDevice {
  std::string id;    // the token's SHA-256
  std::string name;  // "phone", as it says of itself
  std::string day;   // 2026-03-14
};

class Pairing {
 public:
  static constexpr std::size_t kMostDevices = 32;

  // `file`: paired.json, for its owner alone; read if it is there. Throws InputError when it is damaged.
  explicit Pairing(std::filesystem::path file);

  std::string code() const;  // "7KQ2-M4TD-XW9R-H3ZB"

  // The token of the new device; nothing for a wrong code. Letters' case, spaces and hyphens do not matter.
  // A right code always counts, however many wrong ones came before: a lock would let anybody keep the maker
  // out, and 80 bits cannot be tried out. The device longest paired makes room for the 33rd.
  std::optional<std::string> pair(const std::string& typed, const std::string& device_name);

  std::optional<std::string> device_of(const std::string& token) const;  // its id
  std::vector<PairedDevice> devices() const;
  void forget(const std::string& id);

 private:
  void save() const;

  std::filesystem::path file_;
  mutable std::mutex mutex_;
  std::string code_;
  std::vector<PairedDevice> devices_;
};

}  // namespace interstice::bench
