#include "bench/scan_pages.h"

#include "bench/measuring_orders.h"
#include "bench/page_frame.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using report::named;

std::string place_of(const Bowl& bowl, const ScanOfBowl& scan) {
  return "/b/" + bowl.key + "/s/" + scan.key;
}

std::string how_to(ScanKind kind) {
  switch (kind) {
    case ScanKind::ring:
      return "The form stands rim down, four to six cards flat round it. Nothing moves until the last photo.";
    case ScanKind::poured:
      return "As before the pour: rim down, cards flat round it, photos all round.";
    case ScanKind::drawn:
      return "The form with its pieces drawn on it, rim down, cards flat round it. Its plan is traced from "
             "these.";
    case ScanKind::form:
      return "The bare form, pencil lines all over it, rim down, cards flat round it.";
    case ScanKind::lens:
      break;
  }
  return "A dozen photos of one card with this phone: from all sides, tilted, near and far, the card in the "
         "corners of the picture too.";
}

}  // namespace

std::string scan_page(const Bowl& bowl, const ScanOfBowl& scan) {
  const std::string place = place_of(bowl, scan);
  const std::string body =
      "<p class=\"trail\"><a href=\"/b/" + bowl.key + "\">" + named(bowl.name) + "</a></p><h1>" +
      named(scan.name) + "</h1><p class=\"soft\">" + how_to(scan.kind) +
      "</p><div class=\"shooting\"><section aria-labelledby=\"take-head\"><h2 id=\"take-head\" "
      "class=\"unseen\">Take photos</h2><label class=\"key main big\"><span>Take a photo</span><input "
      "id=\"camera\" "
      "class=\"unseen\" type=\"file\" accept=\"image/*\" capture=\"environment\"></label><label class=\"key "
      "big\"><span>Photos from this device</span><input id=\"gallery\" class=\"unseen\" type=\"file\" "
      "accept=\"image/*,.heic,.heif\" multiple></label><p id=\"sending\" role=\"status\"></p><ul "
      "id=\"refused\" "
      "class=\"refused\"></ul><p class=\"soft\">Where a photo was taken on the map, and all else it tells "
      "beside "
      "its picture, is taken out when it arrives.</p></section><section aria-labelledby=\"dial-head\"><h2 "
      "id=\"dial-head\">Round the form</h2><p id=\"enough\" role=\"status\">...</p><div "
      "id=\"dial\"></div></section>"
      "</div><section class=\"plate measuring\" aria-labelledby=\"measure-head\"><h2 "
      "id=\"measure-head\">Measure</h2><p id=\"stage\" role=\"status\"></p><progress id=\"share\" max=\"1\" "
      "aria-label=\"Measuring\" hidden></progress><div class=\"row\"><button class=\"key main\" "
      "id=\"measure\" "
      "type=\"button\" data-words=\"" +
      std::string(measuring_words(scan.kind)) + "\">" + measuring_words(scan.kind) +
      "</button><button class=\"key\" id=\"cancel\" type=\"button\" hidden>Cancel</button>"
      "<a class=\"key main\" id=\"to-result\" href=\"/\" hidden>Result</a></div></section><section "
      "aria-labelledby=\"photos-head\"><h2 "
      "id=\"photos-head\">Photos <span id=\"count\"></span></h2><ul id=\"photos\" "
      "class=\"prints\"></ul><details "
      "id=\"aside-box\" hidden><summary>Set aside</summary><ul id=\"aside\" class=\"plain\"></ul></details>"
      "</section>";
  return framed({scan.name,
                 body,
                 {"shoot.js"},
                 true,
                 "data-place=\"" + place + "\" data-kind=\"" + name_of(scan.kind) + "\""});
}

std::string result_page(const Bowl& bowl, const ScanOfBowl& scan) {
  const std::string place = place_of(bowl, scan);
  const std::string body =
      "<div class=\"over\"><h1><a href=\"/b/" + bowl.key + "\">" + named(bowl.name) + "</a>, <a href=\"" +
      place + "\">" + named(scan.name) +
      "</a></h1><details><summary>Files, archive</summary><p class=\"row\"><a class=\"key\" href=\"" + place +
      "/get/report.html\" download>Page as a file</a><a class=\"key\" href=\"" + place +
      "/get/seams.csv\" download>Table</a></p><form class=\"row\" method=\"post\" action=\"" + place +
      "/keep\"><label class=\"unseen\" for=\"wood\">Wood</label><input id=\"wood\" name=\"wood\" "
      "maxlength=\"60\" "
      "placeholder=\"wood, such as walnut\"><button class=\"key\">Keep in the "
      "archive</button></form></details><p "
      "id=\"ticks-said\" class=\"soft\" role=\"status\"></p></div><iframe id=\"result\" title=\"Result of "
      "the scan\" "
      "sandbox=\"allow-scripts allow-modals\" src=\"" +
      place + "/report\"></iframe>";
  return framed({scan.name + ", result", body, {}, true, "class=\"wide\" data-place=\"" + place + "\""});
}

}  // namespace interstice::bench
