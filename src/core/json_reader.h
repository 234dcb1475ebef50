// Reading JSON documents with errors a person can act on: "plan.json: tiles[3].outline[7]: not a number".
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace interstice::core {

// A JSON value together with the file it came from and where in it it stands.
// Every accessor throws InputError("<file>: <where>: <what is wrong>") instead of returning a bad value.
class JsonNode {
 public:
  JsonNode(const nlohmann::json& value, std::string file, std::string where = "")
      : value_(&value), file_(std::move(file)), where_(std::move(where)) {}

  bool has(const std::string& key) const;
  JsonNode at(const std::string& key) const;  // object member; missing is an error
  JsonNode at(std::size_t index) const;       // array element; out of range is an error
  std::size_t size() const;                   // array length; error if not an array
  bool is_null() const { return value_->is_null(); }

  double number() const;                         // finite
  double number(double low, double high) const;  // finite and within [low, high]
  int integer(int low, int high) const;
  bool boolean() const;
  std::string text(std::size_t max_bytes = 200) const;   // core/name_check.h; beyond 4096 many lines
  std::vector<double> numbers(std::size_t count) const;  // array of exactly `count` finite numbers

  [[noreturn]] void fail(const std::string& what) const;
  const std::string& file() const { return file_; }
  const std::string& where() const { return where_; }
  const nlohmann::json& raw() const { return *value_; }

 private:
  const nlohmann::json* value_;
  std::string file_;
  std::string where_;
};

// Parses a file of at most max_bytes and at most 64 levels deep. Throws InputError with the byte position of
// a syntax error, or when a key stands twice in one object.
nlohmann::json read_json(const std::filesystem::path& path, std::uintmax_t max_bytes = 64u << 20);
nlohmann::json parse_json(const std::string& text, const std::string& file);

}  // namespace interstice::core
