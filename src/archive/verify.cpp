// Checking a bag. Reads every payload file once for both digests.
#include <algorithm>
#include <set>

#include "archive/bag.h"
#include "archive/names.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/parallel.h"

namespace fs = std::filesystem;

namespace interstice::archive {
namespace {

constexpr std::size_t kDigits256 = 64, kDigits512 = 128;
const std::vector<std::string> kTagFiles{"bag-info.txt", "bagit.txt", "manifest-sha256.txt",
                                         "manifest-sha512.txt"};

// Reads a tag file without following a link. The content does not go in when there is none to trust.
std::optional<std::string> tag_text(const fs::path& folder, const std::string& name,
                                    std::vector<std::string>& faults) {
  try {
    if (!fs::is_regular_file(fs::symlink_status(folder / name))) {
      faults.push_back(name + ": is missing");
      return std::nullopt;
    }
    return core::read_file(folder / name, kMaxTagBytes);
  } catch (const std::exception& e) {
    faults.push_back(core::one_line(e.what(), 400));
    return std::nullopt;
  }
}

Manifest manifest_of(const fs::path& folder, const std::string& name, std::size_t digits,
                     std::vector<std::string>& faults) {
  const std::optional<std::string> text = tag_text(folder, name, faults);
  if (!text) return {};
  try {
    Manifest manifest = parse_manifest(*text, digits, name);
    for (const auto& [path, digest] : manifest) {
      if (path.rfind("data/", 0) != 0)
        faults.push_back(name + ": lists " + core::one_line(path, 120) + ", not below data/");
    }
    return manifest;
  } catch (const core::InputError& e) {
    faults.push_back(e.what());
    return {};
  }
}

// Files that stand in the bag against files that the manifests want.
void compare_lists(const std::vector<std::string>& present, const Manifest& sha256, const Manifest& sha512,
                   std::vector<std::string>& faults) {
  std::set<std::string> wanted, standing(present.begin(), present.end());
  for (const auto& [path, digest] : sha256) wanted.insert(path);
  for (const auto& [path, digest] : sha512) wanted.insert(path);
  for (const std::string& path : wanted) {
    if (!standing.contains(path)) faults.push_back(core::one_line(path, 200) + ": is missing");
    if (!sha256.contains(path))
      faults.push_back("manifest-sha256.txt: does not list " + core::one_line(path, 200));
    if (!sha512.contains(path))
      faults.push_back("manifest-sha512.txt: does not list " + core::one_line(path, 200));
  }
  const std::set<std::string> tags{"tagmanifest-sha256.txt", "tagmanifest-sha512.txt"};
  for (const std::string& path : present) {
    const bool known = wanted.contains(path) || tags.contains(path) ||
                       std::find(kTagFiles.begin(), kTagFiles.end(), path) != kTagFiles.end();
    if (!known) faults.push_back(core::one_line(path, 200) + ": does not belong to the bag");
  }
  const std::vector<std::string> all(wanted.begin(), wanted.end());
  if (const auto pair = colliding_paths(all)) {
    faults.push_back(core::one_line(pair->second, 120) + ": differs from " +
                     core::one_line(pair->first, 120) + " only in case or spelling");
  }
}

// The content of every listed file that is there; returns the payload's size as found.
PayloadOxum check_content(const fs::path& folder, const std::vector<std::string>& present,
                          const Manifest& sha256, const Manifest& sha512, int threads,
                          std::vector<std::string>& faults) {
  std::vector<std::string> payload;
  for (const std::string& path : present) {
    if (path.rfind("data/", 0) == 0 && path.back() != '/') payload.push_back(path);
  }
  std::vector<std::string> fault_of(payload.size());
  std::vector<std::uintmax_t> bytes(payload.size());
  core::parallel_for(payload.size(), threads, [&](std::size_t i) {
    try {
      const FileFacts facts = facts_of_file(folder / payload[i]);
      bytes[i] = facts.bytes;
      const auto a = sha256.find(payload[i]), b = sha512.find(payload[i]);
      const bool changed = (a != sha256.end() && a->second != facts.digests.sha256) ||
                           (b != sha512.end() && b->second != facts.digests.sha512);
      if (changed) fault_of[i] = core::one_line(payload[i], 200) + ": the content has changed";
    } catch (const std::exception& e) {
      fault_of[i] = core::one_line(e.what(), 400);
    }
  });
  PayloadOxum oxum{0, payload.size()};
  for (std::size_t i = 0; i < payload.size(); ++i) {
    oxum.bytes += bytes[i];
    if (!fault_of[i].empty()) faults.push_back(fault_of[i]);
  }
  return oxum;
}

void check_tags(const fs::path& folder, std::vector<std::string>& faults) {
  Manifest now256, now512;
  std::vector<std::string> unreadable;
  for (const std::string& name : kTagFiles) {
    const std::optional<std::string> text = tag_text(folder, name, unreadable);  // already reported elsewhere
    if (!text) continue;
    const Digests digests = digests_of(*text);
    now256[name] = digests.sha256;
    now512[name] = digests.sha512;
  }
  for (const auto& [name, digits, now] : {std::tuple("tagmanifest-sha256.txt", kDigits256, &now256),
                                          std::tuple("tagmanifest-sha512.txt", kDigits512, &now512)}) {
    const std::optional<std::string> text = tag_text(folder, name, faults);
    // Byte for byte: this file has no other guard, not even against a letter that changed case.
    if (!text || *text == write_manifest(*now)) continue;
    const std::size_t before = faults.size();
    try {
      for (const auto& [path, digest] : parse_manifest(*text, digits, name)) {
        const auto it = now->find(path);
        if (it == now->end())
          faults.push_back(std::string(name) + ": lists " + core::one_line(path, 120) + ", not there");
        if (it != now->end() && it->second != digest) faults.push_back(path + ": the content has changed");
      }
    } catch (const core::InputError& e) {
      faults.push_back(e.what());
    }
    if (faults.size() == before) faults.push_back(std::string(name) + ": has changed");
  }
}

void check_info(const fs::path& folder, const PayloadOxum& found, std::vector<std::string>& faults) {
  const std::optional<std::string> text = tag_text(folder, "bag-info.txt", faults);
  if (!text) return;
  try {
    const std::optional<std::string> field = parse_bag_info(*text, "bag-info.txt").first("Payload-Oxum");
    const std::optional<PayloadOxum> oxum = field ? parse_oxum(*field) : std::nullopt;
    if (!oxum) {
      faults.push_back("bag-info.txt: Payload-Oxum is missing or not \"bytes.files\"");
    } else if (oxum->bytes != found.bytes || oxum->files != found.files) {
      faults.push_back("bag-info.txt: Payload-Oxum says " + *field + ", data/ holds " +
                       std::to_string(found.bytes) + "." + std::to_string(found.files));
    }
  } catch (const core::InputError& e) {
    faults.push_back(e.what());
  }
}

}  // namespace

std::vector<std::string> verify_bag(const fs::path& folder, int threads) {
  std::vector<std::string> faults, odd;
  std::error_code ec;
  if (!fs::is_directory(fs::symlink_status(folder, ec)) || ec) return {"is not a folder"};
  std::vector<std::string> present;
  try {
    present = files_below(folder, &odd);
  } catch (const core::InputError& e) {
    return {e.what()};
  }
  for (const std::string& path : odd) {
    faults.push_back(core::one_line(path, 200) + ": is a link or a device, not a file");
  }
  const std::optional<std::string> declaration = tag_text(folder, "bagit.txt", faults);
  if (declaration && *declaration != kBagDeclaration)
    faults.push_back("bagit.txt: does not declare BagIt 1.0 in UTF-8");
  const Manifest sha256 = manifest_of(folder, "manifest-sha256.txt", kDigits256, faults);
  const Manifest sha512 = manifest_of(folder, "manifest-sha512.txt", kDigits512, faults);
  compare_lists(present, sha256, sha512, faults);
  const PayloadOxum found = check_content(folder, present, sha256, sha512, threads, faults);
  check_info(folder, found, faults);
  check_tags(folder, faults);
  // The same fault may have been met on two ways.
  std::vector<std::string> once;
  for (const std::string& fault : faults) {
    if (std::find(once.begin(), once.end(), fault) == once.end()) once.push_back(fault);
  }
  return once;
}

}  // namespace interstice::archive
