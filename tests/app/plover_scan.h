// The demo scan, measured once by the program for all tests of a binary. For tests only.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.h"

namespace interstice::testing_support {

inline const std::string kData = std::string(INTERSTICE_SOURCE_DIR) + "/datasets/plover";

inline std::string arguments(const std::string& out, const std::string& more) {
  return "inspect " + kData + "/photos --plan " + kData + "/plan.json --lens " + kData +
         "/W1.lens.json --check-line 150 --out " + out + " " + more;
}

class Plover : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder() = std::string(INTERSTICE_RESULTS) + "/plover";
    std::filesystem::remove_all(folder());
    std::filesystem::create_directories(INTERSTICE_RESULTS);
    ran() = run_program(arguments(folder(), ""), INTERSTICE_RESULTS);
    fit() = nlohmann::json::parse(slurp(folder() + "/fit.json"));
    truth() = nlohmann::json::parse(slurp(kData + "/truth.json"));
  }
  static std::string& folder() {
    static std::string f;
    return f;
  }
  static Ran& ran() {
    static Ran r;
    return r;
  }
  static nlohmann::json& fit() {
    static nlohmann::json j;
    return j;
  }
  static nlohmann::json& truth() {
    static nlohmann::json j;
    return j;
  }
};

}  // namespace interstice::testing_support
