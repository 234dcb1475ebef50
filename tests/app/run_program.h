// Runs the real program as a user would.
#pragma once

#include <sys/wait.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>

namespace interstice {

struct Ran {
  int exit_code = -1;
  std::string out, err;
};

inline std::string slurp(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::stringstream s;
  s << in.rdbuf();
  return s.str();
}

// `arguments` as typed in a shell; `folder` takes the captured output.
inline Ran run_program(const std::string& arguments, const std::string& folder) {
  const std::string out = folder + "/stdout", err = folder + "/stderr";
  const std::string line = std::string(INTERSTICE_PROGRAM) + " " + arguments + " >" + out + " 2>" + err;
  const int status = std::system(line.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, slurp(out), slurp(err)};
}

}  // namespace interstice
