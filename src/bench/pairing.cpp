#include "bench/pairing.h"

#include <sys/random.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <ctime>
#include <nlohmann/json.hpp>
#include <string_view>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"
#include "core/sha256.h"

namespace interstice::bench {
namespace {

// Letters and digits that are not taken for one another when read off a screen.
constexpr std::string_view kAlphabet = "23456789ABCDEFGHJKMNPQRSTUVWXYZ";
constexpr std::size_t kCodeLength = 16;
constexpr std::size_t kMostNames = 4096;  // addresses remembered by a limit

std::string random_bytes(std::size_t count) {
  std::string bytes(count, '\0');
  for (std::size_t at = 0; at < count;) {
    const ssize_t n = ::getrandom(bytes.data() + at, count - at, 0);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) throw core::InputError("the system gives no random numbers");
    at += static_cast<std::size_t>(n);
  }
  return bytes;
}

std::string fresh_code() {
  // Bytes beyond the last whole multiple are thrown again, so that all are equally likely.
  constexpr unsigned kLetters = kAlphabet.size();
  std::string code;
  while (code.size() < kCodeLength) {
    const auto byte = static_cast<unsigned char>(random_bytes(1)[0]);
    if (byte < 256 / kLetters * kLetters) code += kAlphabet[byte % kLetters];
  }
  return code;
}

std::string bare_code(const std::string& typed) {
  std::string bare;
  for (const char c : typed) {
    if (c == '-' || c == ' ') continue;
    bare += c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    if (bare.size() > kCodeLength) break;
  }
  return bare;
}

// In a time that does not tell how much of it was right.
bool same(const std::string& a, const std::string& b) {
  if (a.size() != b.size()) return false;
  unsigned char differs = 0;
  for (std::size_t i = 0; i < a.size(); ++i) differs |= static_cast<unsigned char>(a[i] ^ b[i]);
  return differs == 0;
}

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm parts{};
  char text[16];
  localtime_r(&now, &parts);
  std::strftime(text, sizeof text, "%Y-%m-%d", &parts);
  return text;
}

}  // namespace

std::string random_hex(std::size_t bytes) {
  constexpr const char* kDigits = "0123456789abcdef";
  std::string out;
  for (const char c : random_bytes(bytes)) {
    const auto byte = static_cast<unsigned char>(c);
    out += {kDigits[byte >> 4], kDigits[byte & 15]};
  }
  return out;
}

bool RateLimit::allows(const std::string& name, Clock::time_point now) {
  const std::lock_guard<std::mutex> lock(mutex_);
  if (at_.size() > kMostNames) at_.clear();
  std::deque<Clock::time_point>& times = at_[name];
  while (!times.empty() && now - times.front() > std::chrono::minutes(1)) times.pop_front();
  if (times.size() >= most_) return false;
  times.push_back(now);
  return true;
}

Pairing::Pairing(std::filesystem::path file) : file_(std::move(file)), code_(fresh_code()) {
  std::error_code ec;
  if (!std::filesystem::exists(file_, ec)) return;
  const nlohmann::json document = core::read_json(file_, 1 << 20);
  const core::JsonNode devices = core::JsonNode(document, file_.string()).at("devices");
  for (std::size_t i = 0; i < devices.size() && i < kMostDevices; ++i) {
    const core::JsonNode d = devices.at(i);
    devices_.push_back({d.at("id").text(), d.at("name").text(), d.at("day").text()});
  }
}

std::string Pairing::code() const {
  const std::lock_guard<std::mutex> lock(mutex_);
  std::string shown;
  for (std::size_t i = 0; i < code_.size(); ++i) {
    if (i > 0 && i % 4 == 0) shown += '-';
    shown += code_[i];
  }
  return shown;
}

std::optional<std::string> Pairing::pair(const std::string& typed, const std::string& device_name) {
  const std::lock_guard<std::mutex> lock(mutex_);
  if (!same(bare_code(typed), code_)) return std::nullopt;
  std::string name = "device";
  try {
    name = core::checked_name(device_name, "device", 60);
  } catch (const core::InputError&) {
  }
  const std::string token = random_hex(32);
  if (devices_.size() >= kMostDevices) devices_.erase(devices_.begin());
  devices_.push_back({core::sha256_of(token), name, today()});
  code_ = fresh_code();
  save();
  return token;
}

std::optional<std::string> Pairing::device_of(const std::string& token) const {
  if (token.size() != 64) return std::nullopt;
  const std::string id = core::sha256_of(token);
  const std::lock_guard<std::mutex> lock(mutex_);
  const bool known =
      std::any_of(devices_.begin(), devices_.end(), [&](const PairedDevice& d) { return same(d.id, id); });
  return known ? std::optional<std::string>(id) : std::nullopt;
}

std::vector<PairedDevice> Pairing::devices() const {
  const std::lock_guard<std::mutex> lock(mutex_);
  return devices_;
}

void Pairing::forget(const std::string& id) {
  const std::lock_guard<std::mutex> lock(mutex_);
  std::erase_if(devices_, [&](const PairedDevice& d) { return d.id == id; });
  save();
}

void Pairing::save() const {
  nlohmann::ordered_json document = {{"format", "interstice-paired"}, {"version", 1}};
  document["devices"] = nlohmann::ordered_json::array();
  for (const PairedDevice& d : devices_)
    document["devices"].push_back({{"id", d.id}, {"name", d.name}, {"day", d.day}});
  core::write_file_atomically(file_, document.dump(2) + "\n");
  ::chmod(file_.c_str(), 0600);
}

}  // namespace interstice::bench
