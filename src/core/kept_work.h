// Work done before, kept in a folder of its own under what it was made from.
//
// Whoever asks gets the very bytes that were put there for the same program and the same making, or nothing:
// a file that is cut short, damaged, or of another program or making counts as none, and the work is done
// again. Nothing but time is lost with the folder; it may be removed whenever nobody measures.
//
//   DIGEST.kept   "interstice-kept 1", program, what it was made from, SHA-256 of the work: a line each; the work
//
// DIGEST is the SHA-256 of program and making. Files beyond the limit are removed, the oldest first, and only
// files of this kind.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace interstice::core {

class KeptWork {
 public:
  static constexpr std::uintmax_t kMostBytes = std::uintmax_t{512} << 20;
  static constexpr const char* kEnding = ".kept";

  // `program`: one line that no other program or version shares; see this_program().
  KeptWork(std::filesystem::path folder, std::string program, std::uintmax_t most_bytes = kMostBytes);

  // `made_from`: one line. Safe from several threads and processes; never throw.
  std::optional<std::string> find(const std::string& made_from) const;
  void put(const std::string& made_from, std::string_view work) const;  // the folder is made when missing

  std::filesystem::path file_of(const std::string& made_from) const;

 private:
  void make_room(std::uintmax_t bytes) const;

  std::filesystem::path folder_;
  std::string program_;
  std::uintmax_t most_bytes_;
};

// The SHA-256 of the running program's file; empty where it cannot be read.
std::string this_program();

}  // namespace interstice::core
