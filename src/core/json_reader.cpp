#include "core/json_reader.h"

#include <fmt/core.h>

#include <cmath>
#include <set>

#include "core/errors.h"
#include "core/files.h"
#include "core/name_check.h"

namespace interstice::core {
namespace {

constexpr int kMaxDepth = 64;

std::string child(const std::string& where, const std::string& key) {
  return where.empty() ? one_line(key, 60) : where + "." + one_line(key, 60);
}

std::string short_number(double x) {
  return fmt::format("{:g}", x);
}

}  // namespace

void JsonNode::fail(const std::string& what) const {
  throw InputError(file_, where_.empty() ? what : where_ + ": " + what);
}

bool JsonNode::has(const std::string& key) const {
  return value_->is_object() && value_->contains(key);
}

JsonNode JsonNode::at(const std::string& key) const {
  if (!value_->is_object()) fail("not an object");
  const auto it = value_->find(key);
  if (it == value_->end()) fail("\"" + key + "\" is missing");
  return {*it, file_, child(where_, key)};
}

JsonNode JsonNode::at(std::size_t index) const {
  if (!value_->is_array()) fail("not a list");
  if (index >= value_->size()) fail("has too few entries");
  return {(*value_)[index], file_, where_ + "[" + std::to_string(index) + "]"};
}

std::size_t JsonNode::size() const {
  if (!value_->is_array()) fail("not a list");
  return value_->size();
}

double JsonNode::number() const {
  if (!value_->is_number()) fail("not a number");
  const double x = value_->get<double>();
  if (!std::isfinite(x)) fail("not a finite number");
  return x;
}

double JsonNode::number(double low, double high) const {
  const double x = number();
  if (x < low || x > high) {
    fail(short_number(x) + " is outside " + short_number(low) + " to " + short_number(high));
  }
  return x;
}

int JsonNode::integer(int low, int high) const {
  const double x = number(low, high);
  if (x != std::floor(x)) fail("not a whole number");
  return static_cast<int>(x);
}

bool JsonNode::boolean() const {
  if (!value_->is_boolean()) fail("not true or false");
  return value_->get<bool>();
}

std::string JsonNode::text(std::size_t max_bytes) const {
  if (!value_->is_string()) fail("not a text");
  std::string s = value_->get<std::string>();
  if (s.size() > max_bytes) fail("longer than " + std::to_string(max_bytes) + " bytes");
  constexpr std::size_t kLongestLine = 4096;  // what may be longer is running text
  if (const auto fault = character_fault(s, max_bytes > kLongestLine ? Lines::many : Lines::one))
    fail(*fault);
  return s;
}

std::vector<double> JsonNode::numbers(std::size_t count) const {
  if (size() != count) fail("needs " + std::to_string(count) + " numbers");
  std::vector<double> out;
  for (std::size_t i = 0; i < count; ++i) out.push_back(at(i).number());
  return out;
}

nlohmann::json parse_json(const std::string& text, const std::string& file) {
  std::vector<std::set<std::string>> keys;
  bool too_deep = false;
  std::string twice;
  const auto watch = [&](int depth, nlohmann::json::parse_event_t event, nlohmann::json& parsed) {
    using Event = nlohmann::json::parse_event_t;
    if (depth > kMaxDepth) too_deep = true;
    if (event == Event::object_start) keys.emplace_back();
    if (event == Event::object_end && !keys.empty()) keys.pop_back();
    if (event == Event::key && !keys.empty() && !keys.back().insert(parsed.get<std::string>()).second) {
      twice = parsed.get<std::string>();
    }
    return !too_deep;
  };
  try {
    nlohmann::json value = nlohmann::json::parse(text, watch);
    if (too_deep) throw InputError(file, "nested deeper than " + std::to_string(kMaxDepth) + " levels");
    if (!twice.empty()) throw InputError(file, "\"" + one_line(twice, 60) + "\" stands twice in one object");
    return value;
  } catch (const nlohmann::json::parse_error& e) {
    throw InputError(file, "not valid JSON near byte " + std::to_string(e.byte));
  } catch (const nlohmann::json::exception&) {
    throw InputError(file, "not valid JSON (a number or a text out of range)");
  }
}

nlohmann::json read_json(const std::filesystem::path& path, std::uintmax_t max_bytes) {
  return parse_json(read_file(path, max_bytes), path.string());
}

}  // namespace interstice::core
