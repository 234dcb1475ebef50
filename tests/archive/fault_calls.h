// Takes the place of the C library's calls that change files, and lets a test make one of them fail, or the
// program die in front of it. Linked into a test program (whose own symbols come first for every library in
// it, SQLite too), or preloaded into the real one with the settings in the environment:
//   FAULT_AT=n FAULT_MODE=kill|full   the n-th call (from 1); kill: SIGKILL, full: this and all later ones
//   fail with
//                                     "no space left" (only those that would take space)
//   FAULT_COUNT=file                  the number of calls is written there at exit
//   FAULT_DISK=plain                  a disk that cannot exchange names, nor refuse to replace, nor link
#pragma once

#include <functional>
#include <string>
#include <vector>

namespace faults {

enum class Mode { none, kill, full };

struct Call {
  std::string what, path;  // "write" and the file it goes to
};

void arm(Mode mode, long at);  // counts from 1 anew
void disarm();
// Before the n-th call (from now) `work` runs, as if another program had its turn there.
void at_call(long n, std::function<void()> work);
// A disk that cannot exchange names, nor refuse to replace, nor give a file a second name, and takes no name
// with any of these characters.
struct Disk {
  bool plain = false;
  std::string refused{};
};
void set_disk(const Disk& disk);
long calls();
// From now on every call is written down (slow; for looking at their order).
void record(bool on);
std::vector<Call> recorded();

}  // namespace faults
