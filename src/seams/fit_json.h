// Pieces of fit.json that its parts share, and the corrections in it. Internal to the reading and writing of the
// document; faults are InputErrors of the node's place.
#pragma once

#include <array>
#include <cmath>
#include <optional>
#include <string>

#include "core/errors.h"
#include "core/json_reader.h"
#include "seams/fit_document.h"

namespace interstice::seams::fit_json {

using Json = nlohmann::ordered_json;

inline double rounded(double x) {
  const double r = std::round(x * 1e4) / 1e4;
  return r == 0 ? 0.0 : r;
}

template <class V>
Json list(const V& v, double (*round)(double) = rounded) {
  Json out = Json::array();
  for (Eigen::Index i = 0; i < v.size(); ++i) out.push_back(round(v[i]));
  return out;
}

template <std::size_t N>
std::size_t one_of(const core::JsonNode& node, const std::array<const char*, N>& names) {
  const std::string text = node.text();
  for (std::size_t i = 0; i < N; ++i) {
    if (text == names[i]) return i;
  }
  node.fail("\"" + core::one_line(text, 40) + "\" is not known here");
}

template <int N>
Eigen::Matrix<double, N, 1> read_vector(const core::JsonNode& node) {
  const std::vector<double> x = node.numbers(N);
  for (const double value : x) {
    if (std::abs(value) > 1e5) node.fail("is beyond 100 m");
  }
  return Eigen::Map<const Eigen::Matrix<double, N, 1>>(x.data());
}

inline std::optional<double> read_optional(const core::JsonNode& parent, const char* key) {
  if (!parent.has(key) || parent.at(key).is_null()) return std::nullopt;
  return parent.at(key).number(-1e4, 1e4);
}

inline std::array<std::string, 2> read_pair_of_labels(const core::JsonNode& node) {
  if (node.size() != 2) node.fail("needs two labels");
  return {node.at(std::size_t{0}).text(), node.at(std::size_t{1}).text()};
}

Json write_correction(const Correction& correction);
Correction read_correction(const core::JsonNode& node);

}  // namespace interstice::seams::fit_json
