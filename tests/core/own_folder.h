// A folder of the test's own, and what stands in folders.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <string>

#include "core/errors.h"
#include "core/files.h"

namespace interstice {

namespace fs = std::filesystem;

class OwnFolder : public testing::Test {
 protected:
  void SetUp() override {
    std::string name = (fs::path(testing::TempDir()) / "interstice-test-XXXXXX").string();
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    folder_ = fs::canonical(name);
  }
  void TearDown() override {
    std::error_code ec;
    fs::remove_all(folder_, ec);
  }
  static void put(const fs::path& path, const std::string& text) {
    fs::create_directories(path.parent_path());
    std::ofstream(path, std::ios::binary) << text;
  }
  static std::set<std::string> names(const fs::path& in) {
    std::set<std::string> out;
    for (const auto& entry : fs::directory_iterator(in)) out.insert(entry.path().filename());
    return out;
  }
  std::set<std::string> names() const { return names(folder_); }
  // The line that an InputError says; empty when there is none.
  template <class Work>
  static std::string line_of(Work work) {
    try {
      work();
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  }
  static bool says(const std::string& line, const std::string& part) {
    return line.find(part) != std::string::npos && line.find('\n') == std::string::npos;
  }

  fs::path folder_;
};

using Names = std::set<std::string>;

}  // namespace interstice
