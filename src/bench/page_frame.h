// What every page of the bench has around it.
//
// Everything a maker names is escaped (report/markup.h) before it becomes part of a body.
#pragma once

#include <string>
#include <vector>

namespace interstice::bench {

// A whole page: `scripts` are names under /assets.
struct PageFrame {
  std::string title;
  std::string body;                  // HTML
  std::vector<std::string> scripts;  // besides bench.js
  bool paired = true;                // with the way to other pages
  std::string data;                  // attributes of <main> for the scripts, escaped
};
std::string framed(const PageFrame& frame);

std::string fault_page(const std::string& line);

// A link that looks like a button, a form with one button.
std::string button_link(const std::string& place, const std::string& text, bool main = false);
std::string button_form(const std::string& place, const std::string& text, bool main = false);

}  // namespace interstice::bench
