// The entry libFuzzer calls; INTERSTICE_FUZZ_TARGET names the target.
#include "fuzz/targets.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const interstice::fuzz::Target run = interstice::fuzz::target_named(INTERSTICE_FUZZ_TARGET);
  run(data, size);
  return 0;
}
