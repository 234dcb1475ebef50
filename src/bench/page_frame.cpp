#include "bench/page_frame.h"

#include "report/markup.h"

namespace interstice::bench {

std::string framed(const PageFrame& frame) {
  std::string out =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
      "content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light "
      "dark\">\n"
      "<title>" +
      report::escaped(frame.title) +
      " - bench</title>\n<link rel=\"stylesheet\" href=\"/assets/bench.css\">\n"
      "<link rel=\"icon\" href=\"data:,\">\n";
  if (frame.paired) out += "<script src=\"/assets/bench.js\" defer></script>\n";
  for (const std::string& script : frame.scripts)
    out += "<script src=\"/assets/" + report::escaped(script) + "\" defer></script>\n";
  out += "</head>\n<body>\n<a class=\"skip\" href=\"#main\">To the page</a>\n";
  if (frame.paired) {
    out +=
        "<nav class=\"rail\" aria-label=\"Bench\"><a href=\"/\">Bowls</a><a href=\"/work\">Work <span "
        "id=\"at-work\"></span></a><a href=\"/archive\">Archive</a><a href=\"/phones\">Phones</a></nav>\n";
  }
  out += "<main id=\"main\" " + frame.data +
         ">\n<noscript><p class=\"mind\">This page sends photos and shows "
         "progress by scripts; allow them for this address.</p></noscript>\n" +
         frame.body + "\n</main>\n</body>\n</html>\n";
  return out;
}

std::string fault_page(const std::string& line) {
  return framed({"That did not work",
                 "<h1>That did not work</h1><p class=\"mind\">" + report::escaped(line) + "</p><p>" +
                     button_link("/", "To the bowls") + "</p>",
                 {},
                 true,
                 ""});
}

std::string button_link(const std::string& place, const std::string& text, bool main) {
  return "<a class=\"key" + std::string(main ? " main" : "") + "\" href=\"" + report::escaped(place) + "\">" +
         report::escaped(text) + "</a>";
}

std::string button_form(const std::string& place, const std::string& text, bool main) {
  return "<form method=\"post\" action=\"" + report::escaped(place) + "\"><button class=\"key" +
         std::string(main ? " main" : "") + "\">" + report::escaped(text) + "</button></form>";
}

}  // namespace interstice::bench
