#include "report/page.h"

#include "report/markup.h"
#include "report/page_assets.h"
#include "report/page_parts.h"

namespace interstice::report {
namespace {

std::string page_rule(PagePaper paper) {
  switch (paper) {
    case PagePaper::a4:
      return "@page{size:A4;margin:14mm}";
    case PagePaper::letter:
      return "@page{size:letter;margin:0.55in}";
    case PagePaper::any:
      break;
  }
  return "@page{margin:14mm}";
}

// Nothing but what the page itself holds may be loaded, so that even a fault in it could not reach a network.
constexpr const char* kPolicy =
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src "
    "'unsafe-inline'; "
    "script-src 'unsafe-inline'\">";

std::string head(const PageInput& input) {
  const std::string name = input.fit.name.empty() ? "Shell" : shortened(input.fit.name, 80);
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n" +
         std::string(kPolicy) + "\n<meta name=\"color-scheme\" content=\"light dark\">\n<title>" +
         escaped(name) + ": bench page</title>\n<style>" + std::string(page_css()) + page_rule(input.paper) +
         "</style>\n</head>\n";
}

std::string top(const PageInput& input, bool history) {
  std::string out =
      "<body>\n<a class=\"skip\" href=\"#answer\">To the answer</a>\n<header class=\"top\"><h1>" +
      (input.fit.name.empty() ? std::string("Shell") : named(input.fit.name)) +
      "</h1><div class=\"switches\"><button type=\"button\" class=\"plain script\" id=\"units\">Show "
      "inches</button>"
      "<button type=\"button\" class=\"plain script\" id=\"theme\">Dark</button></div></header>\n<nav "
      "aria-label=\"On this page\"><ul>";
  const std::pair<const char*, const char*> links[] = {{"work", "Work order"},
                                                       {"seams", "Seams"},
                                                       {"photos", "Photos"},
                                                       {"map", "Unrolled"},
                                                       {"model", "3-D"},
                                                       {"pour", "Pour"},
                                                       {"history", "Ring by ring"},
                                                       {"quality", "Measured how well"}};
  for (const auto& [id, text] : links) {
    if (std::string(id) == "history" && !history) continue;
    out += "<li><a href=\"#" + std::string(id) + "\">" + text + "</a></li>";
  }
  return out + "</ul></nav>\n<main>\n";
}

// Filled by the script: a seam or a photo, enlarged.
constexpr const char* kDialog =
    "<dialog id=\"big\" aria-labelledby=\"big-head\"><div class=\"big-bar\"><h2 id=\"big-head\"></h2>"
    "<button type=\"button\" class=\"plain\" id=\"big-prev\" aria-label=\"Seam before\">\xE2\x86\x90</button>"
    "<button type=\"button\" class=\"plain\" id=\"big-next\" aria-label=\"Next seam\">\xE2\x86\x92</button>"
    "<button type=\"button\" class=\"plain\" id=\"big-in\" aria-label=\"Nearer\">+</button>"
    "<button type=\"button\" class=\"plain\" id=\"big-out\" aria-label=\"Farther\">\xE2\x88\x92</button>"
    "<button type=\"button\" class=\"plain\" id=\"big-close\">Close</button></div><div "
    "id=\"big-body\"></div></dialog>\n";

}  // namespace

std::string report_page(const PageInput& input) {
  const PagePhotos photos = take_photos(input);
  const std::string history = history_part(input);
  std::string out = head(input) + top(input, !history.empty());
  out += answer_part(input) + work_part(input) + seams_part(input, photos) + photos_part(input, photos) +
         map_part(input) + model_part(input) + pour_part(input) + history + quality_part(input);
  out +=
      "</main>\n<footer><p>Made from photos; widths are measured, not promised. The data sheets of resin, "
      "glue and tools and the local rules come first.</p></footer>\n";
  out += kDialog;
  out += "<script type=\"application/json\" id=\"data\">" + model_json(input) + "</script>\n<script>" +
         std::string(three_js()) + "</script>\n<script>" + std::string(page_js()) + "</script>\n<script>" +
         std::string(view_js()) + "</script>\n</body>\n</html>\n";
  return out;
}

}  // namespace interstice::report
