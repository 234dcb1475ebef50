// SHA-256 (FIPS 180-4) by OpenSSL, as 64 lower-case hexadecimal digits.
#pragma once

#include <memory>
#include <string>
#include <string_view>

namespace interstice::core {

class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;
  void add(std::string_view bytes);
  std::string finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

std::string sha256_of(std::string_view bytes);

}  // namespace interstice::core
