#include "bench/bowl_pages.h"

#include <fmt/core.h>

#include "bench/page_frame.h"
#include "core/counted.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using report::escaped;
using report::named;

// A button that begins a scan.
std::string begin_scan(const std::string& place, const std::string& name, ScanKind kind,
                       const std::string& words) {
  return "<form method=\"post\" action=\"" + place +
         "/scans\"><input type=\"hidden\" name=\"name\" value=\"" + escaped(name) +
         "\"><input type=\"hidden\" name=\"kind\" value=\"" + name_of(kind) + "\"><button class=\"key\">" +
         escaped(words) + "</button></form>";
}

std::string stock_fields() {
  return "<label for=\"thickness\">Thickness of the stock, mm</label><input id=\"thickness\" "
         "name=\"thickness\" "
         "inputmode=\"decimal\" value=\"19\"><label for=\"piece\">Size of a piece, mm</label><input "
         "id=\"piece\" "
         "name=\"piece\" inputmode=\"decimal\" placeholder=\"as large as sits on the form\"><label "
         "for=\"fill\">Narrowest width that resin "
         "fills, "
         "mm</label><input id=\"fill\" name=\"fill\" inputmode=\"decimal\" value=\"3\">";
}

std::string without_plan(const BowlPage& page, const std::string& place) {
  std::string out =
      "<div class=\"plate\" id=\"no-plan\"><h2>No plan yet</h2><p>Photograph the form; <a "
      "href=\"/work\">Work</a> shows "
      "a plan that is being made.</p><div class=\"row\">" +
      begin_scan(place, "Drawn form", ScanKind::drawn, "Form with its pieces drawn on") +
      begin_scan(place, "Bare form", ScanKind::form, "Bare form") + "</div></div>";
  if (page.has_form) {
    out += "<form class=\"plate\" method=\"post\" action=\"" + place +
           "/layout\"><h2>Its form is measured</h2>" + stock_fields() +
           "<button class=\"key main\">Lay pieces out over it</button></form>";
  }
  return out;
}

std::string scan_lines(const BowlPage& page) {
  if (page.scans.empty()) return "<p class=\"soft\">No scan yet. Begin one when the first ring is glued.</p>";
  std::string out = "<ul class=\"plates\">";
  for (auto line = page.scans.rbegin(); line != page.scans.rend(); ++line) {
    const std::string place = "/b/" + page.bowl.key + "/s/" + line->scan.key;
    out += "<li class=\"plate\"><h3><a href=\"" + place + "\">" + named(line->scan.name) + "</a></h3><p>" +
           core::counted(line->photos, "photo") + (line->answer.empty() ? "" : ". " + escaped(line->answer)) +
           "</p>" + (line->measured ? button_link(place + "/result", "Result") : "") + "</li>";
  }
  return out + "</ul>";
}

std::string settings(const BowlPage& page) {
  std::string line;
  if (page.bowl.check_line_mm) line = fmt::format("{:.2f}", *page.bowl.check_line_mm);
  std::string out =
      "<details class=\"plate\"><summary>Cards and lens</summary><form method=\"post\" action=\"/b/" +
      page.bowl.key +
      "/settings\"><label for=\"check-line\">Check line on the cards, measured with calipers, mm</label>"
      "<input id=\"check-line\" name=\"check_line\" inputmode=\"decimal\" placeholder=\"150\" value=\"" +
      line +
      "\"><label for=\"lens\">Lens of the phone</label><select id=\"lens\" name=\"lens\"><option value=\"\">"
      "none: each scan finds it itself</option>";
  for (const std::string& lens : page.lenses) {
    out += "<option" + std::string(lens == page.bowl.lens ? " selected" : "") + ">" + escaped(lens) +
           "</option>";
  }
  return out + "</select><button class=\"key\">Keep</button></form>" +
         begin_scan("/b/" + page.bowl.key, "Lens", ScanKind::lens, "Calibrate this phone's lens") +
         "<p><a href=\"/cards.pdf\">Cards to print, A4</a>, <a "
         "href=\"/cards.pdf?paper=letter\">US Letter</a>: at 100 %, then measure a check line.</p>"
         "<label for=\"lens-file\">Add a lens file (.lens.json)</label><input id=\"lens-file\" type=\"file\" "
         "accept=\".json,application/json\" data-lens><p id=\"lens-said\" role=\"status\"></p></details>";
}

}  // namespace

std::string bowls_page(const std::vector<BowlLine>& bowls) {
  std::string body = "<h1>Bowls</h1>";
  if (bowls.empty())
    body += "<p>Nothing here yet. A bowl begins with its plan: the pieces on their form.</p>";
  body += "<ul class=\"plates\">";
  for (const BowlLine& line : bowls) {
    body += "<li class=\"plate\"><h2><a href=\"/b/" + line.bowl.key + "\">" + named(line.bowl.name) +
            "</a></h2><p>" + (line.pieces > 0 ? core::counted(line.pieces, "piece") + ", " : "") +
            core::counted(line.scans, "scan") + (line.last.empty() ? "" : ". " + escaped(line.last)) +
            "</p></li>";
  }
  return framed({"Bowls", body + "</ul><p>" + button_link("/new", "New bowl", true) + "</p>", {}, true, ""});
}

std::string new_bowl_page() {
  return framed(
      {"New bowl",
       "<h1>New bowl</h1><form id=\"new-bowl\" class=\"plate\"><label for=\"name\">Name</label><input "
       "id=\"name\" "
       "name=\"name\" required maxlength=\"60\" autocomplete=\"off\"><fieldset><legend>Its "
       "pieces</legend><label "
       "class=\"choice\"><input type=\"radio\" name=\"from\" value=\"plan\" checked> I have a plan "
       "(plan.json)</label><label class=\"choice\"><input type=\"radio\" name=\"from\" value=\"photos\"> I "
       "photograph "
       "the form, bare or with its pieces drawn on</label><label class=\"choice\"><input type=\"radio\" "
       "name=\"from\" value=\"form\"> Lay pieces "
       "out over a form (its profile: r, z as CSV, or SVG, DXF)</label></fieldset><div "
       "id=\"from-file\"><label "
       "for=\"file\">File</label><input id=\"file\" type=\"file\"></div><div id=\"stock\" hidden>" +
           stock_fields() +
           "</div><p id=\"said\" role=\"alert\"></p><button class=\"key main\">Make it</button></form>",
       {},
       true,
       ""});
}

std::string bowl_page(const BowlPage& page) {
  const std::string place = "/b/" + page.bowl.key;
  std::string body = "<h1>" + named(page.bowl.name) + "</h1>";
  if (page.has_plan) {
    body +=
        "<form class=\"plate\" method=\"post\" action=\"" + place +
        "/scans\"><label for=\"scan-name\">After a ring is glued: a scan</label><div class=\"row\"><input "
        "id=\"scan-name\" name=\"name\" required maxlength=\"60\" value=\"" +
        escaped(page.next_name) + "\"><button class=\"key main\">Begin</button></div></form>";
    if (page.may_look_after_pour)
      body += begin_scan(place, "After the pour", ScanKind::poured, "After a pour: what stayed hollow");
  } else {
    body += without_plan(page, place);
  }
  body += "<h2>Scans</h2>" + scan_lines(page);
  if (page.has_plan) {
    body += "<h2>Plan</h2><div class=\"plate\"><p>" + page.about + "</p>" + page.sketch +
            "<p class=\"row\">" + "<a class=\"key\" href=\"" + place + "/plan.json\" download>Plan file</a>" +
            (page.has_patterns ? "<a class=\"key\" href=\"" + place + "/patterns.pdf\">Patterns to print</a>"
                               : "") +
            (page.may_be_named ? button_link(place + "/names", "Name the pieces") : "") +
            (page.has_labels ? "<a class=\"key\" href=\"" + place + "/labels.csv\" download>Labels file</a>"
                             : "") +
            "</p>" + (page.has_patterns ? "" : button_form(place + "/patterns", "Make patterns to print")) +
            "</div>";
  }
  body += settings(page);
  return framed({page.bowl.name, body, {}, true, "data-place=\"" + place + "\""});
}

std::string work_page() {
  return framed(
      {"Work",
       "<h1>Work</h1><p class=\"soft\">One thing at a time; the others wait. It goes on while this phone "
       "sleeps.</p><ul class=\"plates\" id=\"jobs\"><li>...</li></ul>",
       {},
       true,
       ""});
}

}  // namespace interstice::bench
