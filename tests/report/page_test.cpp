// The page as text: what it says, and that nothing a maker names can do harm. What it does in a browser is
// checked by page_test.mjs.
#include "report/page.h"

#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>

#include "core/errors.h"
#include "report/markup.h"
#include "report/print_pdf.h"
#include "report/sample_page.h"

namespace interstice {
namespace {

using namespace testing_support;
namespace fs = std::filesystem;

fs::path results() {
  const fs::path folder = fs::path(INTERSTICE_RESULTS) / "report";
  fs::create_directories(folder);
  return folder;
}

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t n = 0;
  for (std::size_t i = text.find(part); i != std::string::npos; i = text.find(part, i + 1)) ++n;
  return n;
}

TEST(Markup, EscapesAndReplacesWhatIsNotText) {
  EXPECT_EQ(report::escaped("<a href=\"x\">'&'</a>"),
            "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt;");
  EXPECT_EQ(report::escaped("\xC3\xA4\xF0\x9F\x98\x80"), "\xC3\xA4\xF0\x9F\x98\x80");
  // RFC 3629: no overlong forms, no surrogates, nothing above U+10FFFF, no lone bytes.
  for (const char* bad : {"\xC0\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xFF", "\xC3"}) {
    EXPECT_EQ(report::escaped(bad).find_first_not_of("\xEF\xBF\xBD"), std::string::npos) << bad;
  }
  EXPECT_EQ(report::escaped(std::string("a\0b\x1B", 4)),
            "a\xEF\xBF\xBD"
            "b\xEF\xBF\xBD");
  EXPECT_EQ(report::shortened("\xD7\x90\xD7\x91\xD7\x92", 2), "\xD7\x90\xD7\x91\xE2\x80\xA6");
}

TEST(Markup, Base64OfTheStandardsExamples) {
  // RFC 4648, section 10.
  const std::pair<const char*, const char*> vectors[] = {{"", ""},
                                                         {"f", "Zg=="},
                                                         {"fo", "Zm8="},
                                                         {"foo", "Zm9v"},
                                                         {"foob", "Zm9vYg=="},
                                                         {"fooba", "Zm9vYmE="},
                                                         {"foobar", "Zm9vYmFy"}};
  for (const auto& [plain, coded] : vectors) EXPECT_EQ(report::base64(plain), coded);
}

TEST(Markup, QuantitiesInSentencesCanBeSwitched) {
  const std::string html = report::prose("frees 353 mm (16.3 ml) behind A12 mm3 <x>");
  EXPECT_NE(html.find("data-mm=\"353\" data-d=\"0\">353\xC2\xA0mm</span>"), std::string::npos) << html;
  EXPECT_NE(html.find("data-ml=\"16.3\" data-d=\"1\">16.3\xC2\xA0ml</span>"), std::string::npos) << html;
  EXPECT_NE(html.find("behind A12 mm3 &lt;x&gt;"), std::string::npos) << html;
}

TEST(Markup, DataCannotEndItsScript) {
  const std::string text = report::script_json({{"label", "</script><script>alert(1)</script><!--"}});
  EXPECT_EQ(text.find_first_of("<>&"), std::string::npos) << text;
  EXPECT_EQ(nlohmann::json::parse(text).at("label"), "</script><script>alert(1)</script><!--");
}

TEST(Page, SaysTheAnswerAndTheNextThingToDo) {
  const std::string page = report::report_page(sample_page({"heron", "A01", "A02", "A03", "p1"}, results()));
  EXPECT_NE(page.find("<html lang=\"en\">"), std::string::npos);
  EXPECT_NE(page.find("Not ready to pour: 1 seam is too tight and 1 is doubtful."), std::string::npos);
  EXPECT_NE(page.find("Next: sand A01 where it faces A02: <span class=\"q\" data-mm=\"0.6\""),
            std::string::npos);
  EXPECT_EQ(count(page, "class=\"card tight\""), 1u);
  EXPECT_EQ(count(page, "class=\"card doubt\""), 1u);
  EXPECT_EQ(count(page, "class=\"card small clear\""), 1u);
  EXPECT_NE(page.find("blurred"), std::string::npos);
  EXPECT_EQ(page.find("http://"), page.find("http://www.w3.org"));
}

TEST(Page, EveryStepHasItsReasonAndItsDrawing) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  const std::string page = report::report_page(input);
  EXPECT_EQ(count(page, "<svg class=\"work-drawing\""), input.fit.corrections.size());
  EXPECT_EQ(count(page, "class=\"worked\""), 1u);  // the edge to sand; the other step is a move
  EXPECT_EQ(count(page, "class=\"head\""), 1u);    // with one arrow
  EXPECT_NE(page.find("because A01-A02 is "), std::string::npos);
  // What is done to one edge is one step with one drawing.
  seams::Correction ease = input.fit.corrections[0];
  ease.action = seams::Correction::Action::ease;
  ease.angle_deg = 3;
  input.fit.corrections.push_back(ease);
  const std::string more = report::report_page(input);
  EXPECT_EQ(count(more, "<svg class=\"work-drawing\""), 2u);
  EXPECT_EQ(count(more, "class=\"worked eased\""), 1u);
  EXPECT_NE(more.find("; there too ease by 3 degrees over "), std::string::npos);
}

TEST(Page, PlacesToPrickAreNamedAndMarked) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  input.pour = report::PourSheet{};
  report::SheetPour pour;
  pour.volume_ml = 100;
  pour.pricks = {{{"A01", "A02"}, {36, 0}, false, seams::SeamPlace{12, "A03"}, 14, 0},
                 {{"A02", "A03"}, {60, 0}, false, std::nullopt, 0, 1.5}};
  input.pour->pours = {pour};
  const std::string page = report::report_page(input);
  EXPECT_NE(page.find(report::length_html(12, 0) + " from its end at " + report::named("A03") +
                      " (lower end of " + report::length_html(14, 0) + ")"),
            std::string::npos);
  EXPECT_NE(page.find(report::volume_html(1.5, 1) + " of air"), std::string::npos);
  EXPECT_EQ(count(page, "class=\"prick\""), 2u);
}

// A label or a width that may be wrong is said before anything is done about it, as text.
TEST(Page, WarningsComeBeforeTheWork) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  input.fit.warnings = {"B03 does not have its planned shape: <b>check</b> it by hand"};
  const std::string html = report::report_page(input);
  const std::size_t at = html.find("Check first: ");
  ASSERT_NE(at, std::string::npos);
  EXPECT_LT(at, html.find("class=\"work\""));
  EXPECT_NE(html.find("&lt;b&gt;check&lt;/b&gt;"), std::string::npos);
  EXPECT_EQ(html.find("<b>check</b>"), std::string::npos);
}

TEST(Page, ReadyWhenThePourPlanSaysSo) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  input.fit.corrections.clear();
  for (seams::FitSeam& s : input.fit.seams) s.verdict = seams::Verdict::clear;
  input.pour = report::PourSheet{};
  input.pour->ready = true;
  EXPECT_NE(report::report_page(input).find("Ready to pour.</h2>"), std::string::npos);
  input.pour->stranded = {{{"A01", "A02"}, 2.2, 38, 2.3, 38, 38, 38, true}};
  const std::string certain = report::report_page(input);
  EXPECT_EQ(certain.find("if too tight"), std::string::npos);
  EXPECT_EQ(certain.find(report::length_html(61, 0)), std::string::npos);
  input.pour->stranded = {{{"A01", "A02"}, 3.1, 38, 2.3, 38, 0, 61, false}};
  const std::string ranged = report::report_page(input);
  EXPECT_NE(ranged.find(report::length_html(61, 0) + ")"), std::string::npos);
  EXPECT_NE(ranged.find(", if too tight"), std::string::npos);
  input.pour->stranded.clear();
  input.pour->ready = false;
  input.pour->reasons = {"12 ml of air stay"};
  const std::string page = report::report_page(input);
  EXPECT_NE(page.find("Not ready to pour."), std::string::npos);
  EXPECT_NE(page.find("data-ml=\"12\""), std::string::npos);
}

TEST(Page, ChangesSinceTheLastScanAreThoseBeyondBothUncertainties) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  EXPECT_EQ(report::report_page(input).find("id=\"history\""), std::string::npos);
  report::EarlierScan before{"ring 1", input.fit};
  before.fit.seams[0].narrowest_mm = 2.2357 - 0.15;  // root of 0.1^2 + 0.1^2 is 0.141
  before.fit.seams[1].narrowest_mm = 2.95 - 0.13;
  before.fit.tiles[2].state = plan::TileState::absent;
  input.earlier = {before};
  const std::string page = report::report_page(input);
  const std::string history =
      page.substr(page.find("<section id=\"history\""),
                  page.find("<section id=\"quality\"") - page.find("<section id=\"history\""));
  EXPECT_NE(history.find("wider by <span class=\"q\" data-mm=\"0.15\""), std::string::npos) << history;
  EXPECT_EQ(count(history, "wider by"), 1u);
  EXPECT_NE(history.find("Now on: <bdi>A03</bdi>"), std::string::npos);
}

// Ring by ring: every step between two scans, the newest first, each with its own changes.
TEST(Page, EveryEarlierStepIsListed) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  report::EarlierScan first{"after ring 1", input.fit}, second{"after ring 2", input.fit};
  first.fit.tiles[1].state = first.fit.tiles[2].state = plan::TileState::absent;
  first.fit.seams.resize(1);
  first.fit.seams[0].narrowest_mm = *input.fit.seams[0].narrowest_mm - 1;
  second.fit.tiles[2].state = plan::TileState::absent;
  second.fit.seams[0].tiles = input.fit.seams[0].tiles;
  input.earlier = {first, second};
  const std::string page = report::report_page(input);
  const std::size_t from = page.find("<section id=\"history\"");
  const std::string history = page.substr(from, page.find("<section id=\"quality\"") - from);
  EXPECT_EQ(count(history, "<h3>"), 2u);
  const std::size_t last = history.find("From <bdi>after ring 2</bdi> to <bdi>this scan</bdi>");
  const std::size_t before = history.find("From <bdi>after ring 1</bdi> to <bdi>after ring 2</bdi>");
  ASSERT_NE(last, std::string::npos);
  ASSERT_NE(before, std::string::npos);
  EXPECT_LT(last, before);
  EXPECT_NE(history.substr(last, before - last).find("Now on: <bdi>A03</bdi>"), std::string::npos);
  EXPECT_NE(history.substr(before).find("Now on: <bdi>A02</bdi>"), std::string::npos);
  EXPECT_NE(history.substr(before).find("wider by <span class=\"q\" data-mm=\"1\""), std::string::npos);
}

TEST(Page, PhotosThatAreGoneAreNamedAndTheRestIsMade) {
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  EXPECT_EQ(report::report_page(input).find("class=\"gone\""), std::string::npos);
  input.scan.photos[geometry::PhotoIndex(0)].info.path.clear();
  const std::string page = report::report_page(input);
  const std::size_t gone = page.find("class=\"gone\"");
  ASSERT_NE(gone, std::string::npos);
  EXPECT_NE(page.substr(gone, 200).find("<bdi>p1</bdi>"), std::string::npos);
  EXPECT_NE(page.find("2.24"), std::string::npos);  // the seam's width is still there
}

// ISO 216: A4 is 210 x 297 mm, 595.3 x 841.9 points; ANSI Letter 8.5 x 11 in, 612 x 792 points.
TEST(Page, PrintsOnThePaperAskedFor) {
  if (std::system("command -v chromium >/dev/null 2>&1") != 0) GTEST_SKIP() << "no chromium here";
  report::PageInput input = sample_page({"heron", "A01", "A02", "A03", "p1"}, results());
  const std::pair<report::PagePaper, std::array<double, 2>> papers[] = {
      {report::PagePaper::a4, {595.3, 841.9}}, {report::PagePaper::letter, {612, 792}}};
  for (const auto& [paper, size] : papers) {
    input.paper = paper;
    const std::string pdf = report::print_pdf(report::report_page(input));
    ASSERT_EQ(pdf.substr(0, 5), "%PDF-");
    std::size_t pages = 0;
    for (std::size_t at = pdf.find("/MediaBox"); at != std::string::npos;
         at = pdf.find("/MediaBox", at + 1)) {
      double box[4] = {};
      ASSERT_EQ(std::sscanf(pdf.c_str() + at, "/MediaBox [%lf %lf %lf %lf", box, box + 1, box + 2, box + 3),
                4);
      EXPECT_NEAR(box[2], size[0], 1);
      EXPECT_NEAR(box[3], size[1], 1);
      ++pages;
    }
    EXPECT_GE(pages, 1u);
  }
}

// Written out for the browser as well.
TEST(Page, HostileNamesStayText) {
  const std::string attack = "<img src=x onerror=window.harmed=1>", quote = "\"'><b>B\"",
                    right =
                        "\xD7\x90\xD7\x91 (1) \xE2\x80\xAE"
                        "abc";
  const std::string long_name = std::string(180, 'W') + "</script>";
  const std::string page =
      report::report_page(sample_page({attack, attack + "1", quote, right, long_name}, results()));
  EXPECT_EQ(page.find("<img"), std::string::npos);
  EXPECT_EQ(page.find("<b>"), std::string::npos);
  EXPECT_EQ(count(page, "</script>"), 4u);
  std::ofstream(results() / "hostile.html", std::ios::binary) << page;
}

TEST(PourSheet, NamesThePlaceOfAFault) {
  const auto fault = [](const std::string& json) -> std::string {
    try {
      report::parse_pour_sheet(json, "pour.json");
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  };
  EXPECT_NE(fault("{\"format\":\"interstice-fit\",\"version\":1}").find("pour.json: format"),
            std::string::npos);
  EXPECT_NE(fault("{\"format\":\"interstice-pour\",\"version\":2}").find("version"), std::string::npos);
  EXPECT_NE(fault("{\"format\":\"interstice-pour\",\"version\":1}").find("ready"), std::string::npos);
}

}  // namespace
}  // namespace interstice
