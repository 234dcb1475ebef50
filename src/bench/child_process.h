// Starting another program.
#pragma once

#include <sys/types.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

namespace interstice::bench {

struct ChildChannels {
  int input = -1, output = -1, errors = -1;  // descriptors; -1: /dev/null
  bool own_session = false;                  // outlives this one, and is a process group of its own
};

// The child's process id; -1 when it cannot be started. It gets none of this process's other descriptors, and
// no signal stays blocked for it.
pid_t start_child(const std::vector<std::string>& command, const ChildChannels& channels);

// When a process was started, in the kernel's ticks since boot; 0 when there is none. Tells a process from a
// later one of the same number.
unsigned long long process_start(pid_t pid);

// Runs a program to its end: its standard output and errors, at most `most_bytes`; nothing when it takes longer
// than `patience`.
std::optional<std::string> run_and_read(const std::vector<std::string>& command,
                                        std::chrono::milliseconds patience, std::size_t most_bytes);

// The program that is running, for starting it again.
std::string own_program();

}  // namespace interstice::bench
