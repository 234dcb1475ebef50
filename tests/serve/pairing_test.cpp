#include "bench/pairing.h"

#include <set>

#include "bench/guard.h"
#include "core/own_folder.h"
#include "core/sha256.h"

namespace interstice::bench {
namespace {

using PairingTest = OwnFolder;

TEST_F(PairingTest, CodesAreSixteenReadableCharactersAndNeverTheSame) {
  std::set<std::string> seen;
  std::set<char> used;
  for (int i = 0; i < 200; ++i) {
    const std::string code = Pairing(folder_ / "paired.json").code();
    ASSERT_EQ(code.size(), 19u);
    for (std::size_t k = 0; k < code.size(); ++k) {
      if (k % 5 == 4) {
        EXPECT_EQ(code[k], '-');
      } else {
        EXPECT_EQ(std::string("01OIl").find(code[k]), std::string::npos) << code;
        used.insert(code[k]);
      }
    }
    seen.insert(code);
  }
  EXPECT_EQ(seen.size(), 200u);
  EXPECT_EQ(used.size(), 31u);  // all of the alphabet comes up: 3200 draws
}

TEST_F(PairingTest, ACodeLetsOneDeviceInHoweverItIsTyped) {
  Pairing pairing(folder_ / "paired.json");
  const std::string code = pairing.code();
  std::string typed;
  for (const char c : code) {
    typed += c == '-' ? ' ' : static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  const auto token = pairing.pair(typed, "phone");
  ASSERT_TRUE(token);
  EXPECT_TRUE(pairing.device_of(*token));
  EXPECT_NE(pairing.code(), code);
  EXPECT_FALSE(pairing.pair(code, "another")) << "a code is good for one device";
}

TEST_F(PairingTest, WrongCodesAndTokensAreRefusedAndARightCodeStillCounts) {
  Pairing pairing(folder_ / "paired.json");
  const std::string code = pairing.code();
  for (const std::string& wrong : {std::string(), code.substr(0, 18), code + "2", std::string(400, 'A'),
                                   std::string("2222-2222-2222-2222")}) {
    EXPECT_FALSE(pairing.pair(wrong, "x")) << wrong;
  }
  EXPECT_FALSE(pairing.device_of(""));
  EXPECT_FALSE(pairing.device_of(std::string(64, '0')));
  EXPECT_TRUE(pairing.pair(code, "phone"));
}

TEST_F(PairingTest, DevicesOutliveTheServerAndCanBeShutOut) {
  std::string token;
  {
    Pairing pairing(folder_ / "paired.json");
    token = *pairing.pair(pairing.code(), "bench \xe2\x80\xae phone");  // turns the reading direction
  }
  const std::string kept = core::read_file(folder_ / "paired.json");
  EXPECT_EQ(kept.find(token), std::string::npos) << "only the token's digest is kept";
  EXPECT_NE(kept.find(core::sha256_of(token)), std::string::npos);
  Pairing later(folder_ / "paired.json");
  ASSERT_EQ(later.devices().size(), 1u);
  EXPECT_EQ(later.devices()[0].name, "device");
  const auto id = later.device_of(token);
  ASSERT_TRUE(id);
  later.forget(*id);
  EXPECT_FALSE(later.device_of(token));
  EXPECT_FALSE(Pairing(folder_ / "paired.json").device_of(token));
}

TEST_F(PairingTest, NoMoreThan32DevicesAreLetIn) {
  Pairing pairing(folder_ / "paired.json");
  const std::string first = *pairing.pair(pairing.code(), "first");
  std::string last;
  for (std::size_t i = 0; i < Pairing::kMostDevices; ++i) last = *pairing.pair(pairing.code(), "more");
  EXPECT_EQ(pairing.devices().size(), Pairing::kMostDevices);
  EXPECT_FALSE(pairing.device_of(first));
  EXPECT_TRUE(pairing.device_of(last));
}

TEST(RateLimitTest, CountsInAnyMinuteAndForEachNameAlone) {
  RateLimit limit(3);
  const RateLimit::Clock::time_point start{};
  const auto at = [&](int seconds) { return start + std::chrono::seconds(seconds); };
  EXPECT_TRUE(limit.allows("a", at(0)));
  EXPECT_TRUE(limit.allows("a", at(10)));
  EXPECT_TRUE(limit.allows("a", at(20)));
  EXPECT_FALSE(limit.allows("a", at(59)));
  EXPECT_TRUE(limit.allows("b", at(59)));
  EXPECT_TRUE(limit.allows("a", at(61)));
  EXPECT_FALSE(limit.allows("a", at(62)));
}

Request asked(const std::string& method, std::map<std::string, std::string> headers) {
  Request request;
  request.method = method;
  request.headers = std::move(headers);
  request.local = "192.168.7.5";
  request.port = 8417;
  return request;
}

int status_of(const Request& request) {
  const auto response = refusal(request);
  return response ? response->status : 200;
}

TEST(Guard, OnlyTheAddressTheConnectionCameToIsAHost) {
  EXPECT_EQ(status_of(asked("GET", {{"host", "192.168.7.5:8417"}})), 200);
  for (const char* host : {"", "192.168.7.5", "192.168.7.5:80", "192.168.7.6:8417", "evil.example:8417",
                           "localhost:8417", "192.168.7.5:8417.evil.example"}) {
    EXPECT_EQ(status_of(asked("GET", {{"host", host}})), 421) << host;
  }
  Request own = asked("GET", {{"host", "localhost:8417"}});
  own.local = "127.0.0.1";
  EXPECT_EQ(status_of(own), 200);
}

TEST(Guard, WhatChangesSomethingMustComeFromAPageOfTheBench) {
  const std::string host = "192.168.7.5:8417";
  EXPECT_EQ(status_of(asked("POST", {{"host", host}, {"origin", "http://" + host}})), 200);
  EXPECT_EQ(status_of(asked("POST", {{"host", host}, {"sec-fetch-site", "same-origin"}})), 200);
  EXPECT_EQ(status_of(asked("POST", {{"host", host}})), 403);
  EXPECT_EQ(status_of(asked("POST", {{"host", host}, {"origin", "null"}})), 403);
  EXPECT_EQ(status_of(asked("POST", {{"host", host}, {"origin", "https://" + host}})), 403);
  EXPECT_EQ(status_of(asked("POST", {{"host", host}, {"origin", "http://evil.example"}})), 403);
  EXPECT_EQ(status_of(asked(
                "POST", {{"host", host}, {"origin", "http://" + host}, {"sec-fetch-site", "cross-site"}})),
            403);
  EXPECT_EQ(status_of(asked("DELETE", {{"host", host}, {"origin", "http://" + host}})), 405);
  Request twice = asked("GET", {{"host", host}});
  twice.repeated_header = true;
  EXPECT_EQ(status_of(twice), 400);
}

TEST(Guard, TheCookieIsOutOfReachOfScriptsAndOtherSites) {
  const std::string header = cookie_header(8417, "abc");
  for (const char* part : {"interstice_8417=abc", "HttpOnly", "SameSite=Strict", "Path=/"})
    EXPECT_NE(header.find(part), std::string::npos) << part;
}

TEST(Messages, PathsThatLeadElsewhereAreNone) {
  EXPECT_EQ(path_parts("/b/plover/s/001-ring").value(),
            (std::vector<std::string>{"b", "plover", "s", "001-ring"}));
  EXPECT_TRUE(path_parts("/").value().empty());
  for (const std::string& path :
       {std::string("/.."), std::string("/b/../x"), std::string("/b//x"), std::string("/./b"),
        std::string("b"), std::string("/b/a\\b"), std::string("/b/a\0b", 6)}) {
    EXPECT_FALSE(path_parts(path)) << path;
  }
}

TEST(Messages, FormsAndCookiesAreReadAsBrowsersSendThem) {
  auto fields = form_fields("name=Ring+1%2C+walnut&empty=&odd=%zz&last");
  EXPECT_EQ(fields["name"], "Ring 1, walnut");
  EXPECT_EQ(fields["empty"], "");
  EXPECT_EQ(fields["odd"], "%zz");
  EXPECT_TRUE(fields.contains("last"));
  std::string many;
  for (int i = 0; i < 1000; ++i) many += "a" + std::to_string(i) + "=1&";
  EXPECT_LE(form_fields(many).size(), 64u);
  Request request;
  request.headers["cookie"] = "other=1; interstice_8417=abc; xinterstice_8417=no";
  EXPECT_EQ(request.cookie("interstice_8417"), "abc");
  EXPECT_EQ(request.cookie("interstice_84"), "");
}

}  // namespace
}  // namespace interstice::bench
