#include "core/sha256.h"

#include <openssl/evp.h>

#include <stdexcept>

namespace interstice::core {
namespace {

void check(int ok) {
  if (ok != 1) throw std::runtime_error("the digest library failed");
}

}  // namespace

struct Sha256::State {
  State() : context(EVP_MD_CTX_new()) { check(context != nullptr); }
  ~State() { EVP_MD_CTX_free(context); }
  State(const State&) = delete;
  State& operator=(const State&) = delete;
  EVP_MD_CTX* context;
};

Sha256::Sha256() : state_(std::make_unique<State>()) {
  check(EVP_DigestInit_ex(state_->context, EVP_sha256(), nullptr));
}
Sha256::~Sha256() = default;

void Sha256::add(std::string_view bytes) {
  check(EVP_DigestUpdate(state_->context, bytes.data(), bytes.size()));
}

std::string Sha256::finish() {
  unsigned char bytes[EVP_MAX_MD_SIZE];
  unsigned int size = 0;
  check(EVP_DigestFinal_ex(state_->context, bytes, &size));
  static const char* hex = "0123456789abcdef";
  std::string out;
  for (unsigned int i = 0; i < size; ++i) {
    out += hex[bytes[i] >> 4];
    out += hex[bytes[i] & 15];
  }
  return out;
}

std::string sha256_of(std::string_view bytes) {
  Sha256 digest;
  digest.add(bytes);
  return digest.finish();
}

}  // namespace interstice::core
