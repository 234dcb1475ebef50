#include "bench/pairing_pages.h"

#include "bench/page_frame.h"
#include "bench/qr_code.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using report::escaped;
using report::named;

}  // namespace

std::string pair_page(const std::string& code, const std::string& fault) {
  return framed(
      {"Come in",
       "<h1>The bench</h1><p>This lets this phone or computer use the bench: see its bowls, send photos, "
       "measure.</p>" +
           (fault.empty() ? "" : "<p class=\"mind\" role=\"alert\">" + escaped(fault) + "</p>") +
           "<form class=\"plate\" method=\"post\" action=\"/pair\"><label for=\"code\">Code on the bench's "
           "screen</label><input id=\"code\" name=\"code\" required maxlength=\"40\" autocomplete=\"off\" "
           "autocapitalize=\"characters\" spellcheck=\"false\" value=\"" +
           escaped(code) +
           "\"><label for=\"device\">Call this device</label><input id=\"device\" name=\"device\" "
           "maxlength=\"40\" value=\"phone\"><button class=\"key main\">Come in</button></form><p "
           "class=\"soft\">A cookie remembers this device, for nothing else. The connection is not "
           "encrypted: use "
           "it on a network of your own.</p>",
       {},
       false,
       ""});
}

std::string phone_page(const PhonePage& page) {
  std::string body = "<h1>Phones</h1>";
  if (page.lan && !page.addresses.empty()) {
    body +=
        "<p>Scan this with the phone's camera, on the same network. It lets one device in; the next code "
        "comes "
        "by itself.</p>" +
        qr_svg(page.addresses[0]) + "<p>Or open the address and type the code:</p><ul class=\"plain\">";
    for (const std::string& address : page.addresses)
      body += "<li><code>" + escaped(address.substr(0, address.find("/pair/"))) + "</code></li>";
    body += "</ul><p class=\"code\">" + escaped(page.code) + "</p>";
  } else if (page.lan) {
    body += "<p class=\"mind\">This computer is on no network that a phone could reach it by.</p>";
  } else {
    body +=
        "<p class=\"mind\">The bench is open to this computer alone. Stop it and start it with "
        "<code>--lan</code> "
        "to let phones on your network in.</p><p>Another browser of this computer comes in with the code</p>"
        "<p class=\"code\">" +
        escaped(page.code) + "</p>";
  }
  body += "<h2>Let in</h2><ul class=\"plates\">";
  for (const PairedDevice& device : page.devices) {
    body +=
        "<li class=\"plate\"><p>" + named(device.name) + ", since " + escaped(device.day) +
        (device.id == page.own_device ? " (this one)" : "") +
        "</p><form method=\"post\" action=\"/phones/forget\"><input type=\"hidden\" name=\"id\" value=\"" +
        escaped(device.id) + "\"><button class=\"key\">Shut out " + escaped(device.name) +
        "</button></form></li>";
  }
  return framed({"Phones", body + "</ul>", {}, true, "data-phones=\"" + escaped(page.code) + "\""});
}

}  // namespace interstice::bench
