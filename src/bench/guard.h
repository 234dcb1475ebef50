// What is asked of a request before anything is done for it.
//
// Host must be the very address the connection arrived at (or "localhost" on this computer), so that a name
// that somebody else lets point here opens nothing. What changes something must come from a page of our own:
// Origin, or where a browser sends none Sec-Fetch-Site, says so.
#pragma once

#include <optional>
#include <string>

#include "bench/message.h"

namespace interstice::bench {

std::string origin_of(const Request& request);  // "http://192.168.1.5:8417", as a right one would be
std::string cookie_name(std::uint16_t port);    // cookies do not tell ports apart
std::string cookie_header(std::uint16_t port, const std::string& token);  // Set-Cookie

// The refusal; nothing when the request may go on. The cookie is not looked at.
std::optional<Response> refusal(const Request& request);

}  // namespace interstice::bench
