#include "bench/archive_answers.h"

#include <algorithm>
#include <sstream>

#include "archive/archive.h"
#include "bench/child_process.h"
#include "bench/page_frame.h"
#include "core/errors.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using report::escaped;
using report::named;

constexpr std::size_t kMostBytes = 1 << 20;
constexpr auto kAnswerPatience = std::chrono::seconds(30);

Response page(const std::string& title, const std::string& body) {
  Response response;
  response.body = framed({title, "<h1>" + title + "</h1>" + body, {}, true, ""});
  return response;
}

std::string choice(const char* name, const std::vector<archive::Entry>& entries, std::size_t chosen) {
  std::string out = "<select id=\"" + std::string(name) + "\" name=\"" + name + "\">";
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const archive::Entry& e = entries[i];
    out += "<option value=\"" + escaped(e.id) + "\"" + (i == chosen ? " selected" : "") + ">" +
           escaped(e.name) + ", " + escaped(e.date) + ", ring " + std::to_string(e.ring) + "</option>";
  }
  return out + "</select>";
}

std::string entry_line(const archive::Entry& e) {
  std::string narrowest;
  if (e.smallest_mm) narrowest = ", narrowest " + report::length_html(*e.smallest_mm, 2);
  return "<li class=\"plate\"><h2>" + named(e.name) + "</h2><p>" + escaped(e.date) + ", ring " +
         std::to_string(e.ring) + (e.wood.empty() ? "" : ", " + named(e.wood)) + "</p><p class=\"soft\">" +
         std::to_string(e.too_tight) + " too tight, " + std::to_string(e.doubtful) + " doubtful, " +
         std::to_string(e.clear) + " clear" + narrowest + "</p></li>";
}

Response list_page(const std::vector<archive::Entry>& entries) {
  if (entries.empty())
    return page("Archive",
                "<p>Nothing is kept yet. A measured scan is put here from the page of its result.</p>");
  std::string body = "<ul class=\"plates\">";
  for (const archive::Entry& e : entries) body += entry_line(e);
  body += "</ul>";
  if (entries.size() > 1) {
    body +=
        "<h2>What moved between two</h2><form class=\"plate\" action=\"/archive/compare\"><label "
        "for=\"a\">Earlier</label>" +
        choice("a", entries, 0) + "<label for=\"b\">Later</label>" +
        choice("b", entries, entries.size() - 1) + "<button class=\"key main\">Compare</button></form>";
  }
  return page("Archive", body + "<p>" + button_link("/archive/learn", "What my gaps teach") + "</p>");
}

std::string lines_escaped(const std::string& text) {
  std::istringstream in(text);
  std::string line, out;
  while (std::getline(in, line)) out += escaped(line) + "\n";
  return out;
}

// What the program prints, as it prints it.
Response printed(const std::string& title, const std::vector<std::string>& command) {
  const std::optional<std::string> text = run_and_read(command, kAnswerPatience, kMostBytes);
  return page(title,
              "<p class=\"trail\"><a href=\"/archive\">Archive</a></p><pre tabindex=\"0\" class=\"plate\">" +
                  lines_escaped(text.value_or("That took too long.")) + "</pre>");
}

}  // namespace

Response answer_for_archive(const Services& services, const Request& request, const std::string& program) {
  const std::filesystem::path folder = services.folder.root() / "archive";
  std::error_code ec;
  if (!std::filesystem::exists(folder, ec)) return list_page({});
  std::vector<archive::Entry> entries = archive::Archive::open(folder).list({});
  std::stable_sort(entries.begin(), entries.end(),
                   [](const archive::Entry& a, const archive::Entry& b) { return a.date < b.date; });
  if (request.parts.size() == 1) return list_page(entries);
  const auto known = [&](const std::string& id) {
    return std::any_of(entries.begin(), entries.end(), [&](const archive::Entry& e) { return e.id == id; });
  };
  const std::string &what = request.parts[1], a = request.asked("a"), b = request.asked("b");
  if (what == "learn")
    return printed("What my gaps teach", {program, "archive", "learn", "--archive", folder.string()});
  if (what == "compare" && known(a) && known(b))
    return printed("What moved", {program, "archive", "compare", "--archive", folder.string(), a, b});
  return plain(404, "there is no such page");
}

}  // namespace interstice::bench
