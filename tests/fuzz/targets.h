// What is fuzzed: every reader of files that come from outside. A target takes any bytes, and returns; it
// calls std::abort() when a reader does anything but read or refuse with an InputError, or when what was read
// does not survive being written and read again.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace interstice::fuzz {

using Target = void (*)(const std::uint8_t* data, std::size_t size);

struct NamedTarget {
  const char* name;  // also of the folder with its seeds
  Target run;
};

std::span<const NamedTarget> targets();

// Throws std::out_of_range for other names.
Target target_named(const char* name);

}  // namespace interstice::fuzz
