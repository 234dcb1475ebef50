// BagIt bags (RFC 8493, version 1.0): tag files, manifests, and checking them. Knows nothing of what is
// inside.
//
// A bag written here holds bagit.txt, bag-info.txt, manifest-sha256.txt, manifest-sha512.txt, the two tag
// manifests and data/. Lines end in LF, digests are lower-case, digest and path are separated by two spaces
// (so that the coreutils can check a manifest too), paths are sorted by bytes and only LF, CR and % are
// percent-encoded.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "archive/durable.h"

namespace interstice::archive {

// No manifest and no tag file that an archive wrote is longer.
inline constexpr std::uintmax_t kMaxTagBytes = 64u << 20;

// bagit.txt as version 1.0 wants it.
inline constexpr const char* kBagDeclaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

// bag-info.txt: labels and values in order; a label may stand several times.
class BagInfo {
 public:
  void add(const std::string& label, const std::string& value) { fields_.emplace_back(label, value); }
  std::optional<std::string> first(const std::string& label) const;  // labels compare without case
  const std::vector<std::pair<std::string, std::string>>& fields() const { return fields_; }

 private:
  std::vector<std::pair<std::string, std::string>> fields_;
};

std::string write_bag_info(const BagInfo& info);
// Throws InputError(file, line and fault).
BagInfo parse_bag_info(const std::string& text, const std::string& file);

// Digest by path, as in a manifest file.
using Manifest = std::map<std::string, std::string>;
std::string write_manifest(const Manifest& manifest);
// Refuses a line without digest or path, a digest of the wrong length, a path listed twice, and paths that
// lead out of the bag. Throws InputError(file, line and fault).
Manifest parse_manifest(const std::string& text, std::size_t digest_digits, const std::string& file);

// "123456.7": bytes and files of the payload.
struct PayloadOxum {
  std::uintmax_t bytes = 0;
  std::size_t files = 0;
};
std::optional<PayloadOxum> parse_oxum(const std::string& text);

// Fills a new folder into a bag. Write payload files below `folder/data` by add_*; then close().
class BagWriter {
 public:
  explicit BagWriter(std::filesystem::path folder);  // makes folder and folder/data

  // `path` is below data/; throws InputError if path_fault(path) or taken.
  FileFacts add_copy(const std::filesystem::path& from, const std::string& path);
  FileFacts add_bytes(std::string_view bytes, const std::string& path);
  // Takes in a file of the same content by hard link where the disk allows it, by copying where not.
  FileFacts add_shared(const std::filesystem::path& from, const std::string& path);

  const std::filesystem::path& folder() const { return folder_; }
  std::filesystem::path payload(const std::string& path) const { return folder_ / "data" / path; }

  // Writes the tag files (Payload-Oxum is added to the info) and syncs all folders.
  void close(BagInfo info);

 private:
  std::filesystem::path place(const std::string& path);

  std::filesystem::path folder_;
  std::map<std::string, FileFacts> payload_;
  std::map<std::string, std::string> taken_;  // search_key of a path -> the path
};

// Everything that is wrong with a bag, one line each ("data/fit.json: the content has changed"); empty:
// whole. Strict: beyond RFC 8493 it wants the exact tag manifests this program writes, so that any changed
// bit counts. Never throws for the bag's content; `threads` share the reading.
std::vector<std::string> verify_bag(const std::filesystem::path& folder, int threads);

}  // namespace interstice::archive
