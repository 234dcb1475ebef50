// A result against the truth of a rendered scene.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>

#include "hard/cases.h"

namespace interstice::hard {

struct Scored {
  int measured = 0, within_u95 = 0, tight = 0;
  double rms_mm = 0;  // of measured widths against the truth
  std::vector<std::string> tight_called_clear;
};

inline Scored scored(const fs::path& fit_json, const fs::path& truth_json) {
  const nlohmann::json fit = nlohmann::json::parse(slurp(fit_json.string()));
  const nlohmann::json truth = nlohmann::json::parse(slurp(truth_json.string()));
  std::map<std::pair<std::string, std::string>, double> mouth;
  for (const auto& s : truth.at("seams"))
    mouth[std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>())] = s["mouth_mm"];
  Scored score;
  for (const auto& s : fit.at("seams")) {
    const auto it =
        mouth.find(std::minmax(s["tiles"][0].get<std::string>(), s["tiles"][1].get<std::string>()));
    if (it == mouth.end()) continue;
    const bool tight = it->second < truth.at("smallest_fill").get<double>();
    score.tight += tight ? 1 : 0;
    if (tight && s["verdict"] == "clear")
      score.tight_called_clear.push_back(it->first.first + "-" + it->first.second);
    if (s["narrowest_mm"].is_null() || s["u95_mm"].is_null()) continue;
    ++score.measured;
    const double error = s["narrowest_mm"].get<double>() - it->second;
    score.within_u95 += std::abs(error) <= s["u95_mm"].get<double>() ? 1 : 0;
    score.rms_mm += error * error;
  }
  score.rms_mm = std::sqrt(score.rms_mm / std::max(1, score.measured));
  return score;
}

// What was left out, then the last line: the row of a table for a scene that was measured.
inline Ran told(Ran ran) {
  std::string left_out;
  std::istringstream lines(ran.out);
  int photos = 0;
  for (std::string line; std::getline(lines, line);) {
    if (line.rfind("left out: card", 0) == 0) left_out += line.substr(10) + "; ";
    if (line.rfind("left out: ", 0) == 0 && line.find("its cards do not fit") != std::string::npos) ++photos;
  }
  if (photos > 0) left_out += std::to_string(photos) + " photos whose cards do not fit left out; ";
  if (!ran.out.empty() && ran.out.back() == '\n') ran.out.pop_back();
  const std::size_t last = ran.out.rfind('\n');
  ran.out = left_out + ran.out.substr(last == std::string::npos ? 0 : last + 1) + "\n";
  return ran;
}

}  // namespace interstice::hard
