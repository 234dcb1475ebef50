// The two digests every file of a bag has: SHA-256 and SHA-512 (FIPS 180-4), in lower-case hexadecimal.
#pragma once

#include <memory>
#include <string>
#include <string_view>

namespace interstice::archive {

struct Digests {
  std::string sha256, sha512;
  bool operator==(const Digests&) const = default;
};

// Both digests of bytes that come piece by piece.
class Digester {
 public:
  Digester();
  ~Digester();
  Digester(const Digester&) = delete;
  Digester& operator=(const Digester&) = delete;
  void add(std::string_view bytes);
  Digests finish();  // once

 private:
  struct State;
  std::unique_ptr<State> state_;
};

Digests digests_of(std::string_view bytes);

}  // namespace interstice::archive
