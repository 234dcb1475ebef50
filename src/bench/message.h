// One request of a browser and its answer, free of the library that carries them.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace interstice::bench {

struct Request {
  std::string method;                          // GET, HEAD, POST
  std::vector<std::string> parts;              // of the path, percent signs decoded: /b/plover -> b, plover
  std::map<std::string, std::string> query;    // decoded
  std::map<std::string, std::string> headers;  // names in lower case
  bool repeated_header = false;                // one that decides (Host, Origin, Cookie ...) stands twice
  std::string peer, local;                     // addresses of either end, without port
  std::uint16_t port = 0;                      // of this end
  std::string body;

  std::string header(const std::string& name) const;  // empty where there is none
  std::string cookie(const std::string& name) const;
  std::string asked(const std::string& name) const;  // of the query
};

// A file that is being sent; closes itself.
class OpenFile {
 public:
  OpenFile() = default;
  explicit OpenFile(int descriptor) : descriptor_(descriptor) {}
  ~OpenFile();
  OpenFile(OpenFile&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  OpenFile& operator=(OpenFile&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    return *this;
  }
  int get() const { return descriptor_; }
  int release() { return std::exchange(descriptor_, -1); }
  explicit operator bool() const { return descriptor_ >= 0; }

 private:
  int descriptor_ = -1;
};

struct Response {
  int status = 200;
  std::string type = "text/html; charset=utf-8";
  std::string body;
  OpenFile file;  // instead of a body
  std::vector<std::pair<std::string, std::string>> headers;
};

Response plain(int status, const std::string& line);                  // one line of text
Response json_answer(const std::string& document, int status = 200);  // application/json
Response see_other(const std::string& place);                         // 303, for a browser after a form

// application/x-www-form-urlencoded, as forms send it. At most 64 fields; what is beyond is left out.
std::map<std::string, std::string> form_fields(const std::string& body);
std::string percent_encoded(const std::string& text);

// The path's parts; nothing when one of them is empty, "." or "..", or holds a NUL or a backslash.
std::optional<std::vector<std::string>> path_parts(const std::string& path);

}  // namespace interstice::bench
