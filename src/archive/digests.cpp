#include "archive/digests.h"

#include <openssl/evp.h>

#include <stdexcept>

namespace interstice::archive {

struct FreeDigestContext {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

namespace {

using Context = std::unique_ptr<EVP_MD_CTX, FreeDigestContext>;

void check(int ok) {
  if (ok != 1) throw std::runtime_error("the digest library failed");
}

Context started(const EVP_MD* algorithm) {
  Context context(EVP_MD_CTX_new());
  check(context != nullptr);
  check(EVP_DigestInit_ex(context.get(), algorithm, nullptr));
  return context;
}

std::string finished(const Context& context) {
  unsigned char bytes[EVP_MAX_MD_SIZE];
  unsigned int size = 0;
  check(EVP_DigestFinal_ex(context.get(), bytes, &size));
  static const char* hex = "0123456789abcdef";
  std::string out;
  for (unsigned int i = 0; i < size; ++i) {
    out += hex[bytes[i] >> 4];
    out += hex[bytes[i] & 15];
  }
  return out;
}

}  // namespace

struct Digester::State {
  std::unique_ptr<EVP_MD_CTX, FreeDigestContext> sha256 = started(EVP_sha256()),
                                                 sha512 = started(EVP_sha512());
};

Digester::Digester() : state_(std::make_unique<State>()) {}
Digester::~Digester() = default;

void Digester::add(std::string_view bytes) {
  check(EVP_DigestUpdate(state_->sha256.get(), bytes.data(), bytes.size()));
  check(EVP_DigestUpdate(state_->sha512.get(), bytes.data(), bytes.size()));
}

Digests Digester::finish() {
  return {finished(state_->sha256), finished(state_->sha512)};
}

Digests digests_of(std::string_view bytes) {
  Digester digester;
  digester.add(bytes);
  return digester.finish();
}

}  // namespace interstice::archive
