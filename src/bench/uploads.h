// Photos on their way in.
//
// A photo comes in slices, each naming the upload, where it begins and how long the photo is in all; what has
// arrived stays over a lost network and over the server's end, and the sender goes on from there. With the
// last slice the photo is cleaned of whatever it tells beside its picture (in a child), written to the disk
// (fsync), given its name (photo_007.jpg, never one that is taken) and only then acknowledged. A photo that
// is there already, byte for byte, is acknowledged under the name it has.
#pragma once

#include <chrono>
#include <condition_variable>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <string>

#include "bench/folder.h"
#include "bench/worker_pool.h"

namespace interstice::bench {

inline constexpr std::uint64_t kMostPhotoBytes = 40u << 20;  // 200 megapixels come in less
inline constexpr std::uint64_t kMostSliceBytes = kMostPhotoBytes;
inline constexpr std::size_t kMostPhotosAScan = 300, kMostUnfinished = 100;
// Measuring a scan writes some 200 MB; the system wants room as well.
inline constexpr std::uintmax_t kFreeBytesKept = std::uintmax_t{1} << 30;

struct Slice {
  std::string id;  // 32 hexadecimal digits, of the sender's choice
  std::uint64_t at = 0, total = 0;
  const std::string* bytes = nullptr;
};

struct StoredPhoto {
  std::string name;    // photo_007.jpg
  std::string sha256;  // of the file as it is kept
  std::uint64_t bytes = 0;
  bool known = false;  // was there already
};

struct SliceTaken {
  int status = 200;  // 200 stored; 202 more is wanted; 409 from elsewhere is wanted; else a fault
  std::uint64_t have = 0;
  std::optional<StoredPhoto> photo;
  std::string fault;
};

class Uploads {
 public:
  // Unfinished uploads older than a day are removed.
  Uploads(const Folder& folder, WorkerPool& workers);

  SliceTaken take(const ScanOfBowl& scan, const Slice& slice);

 private:
  std::filesystem::path part_of(const std::string& id) const;
  SliceTaken append(const Slice& slice, const std::filesystem::path& part);
  SliceTaken store(const ScanOfBowl& scan, const std::string& id);
  StoredPhoto keep(const ScanOfBowl& scan, const std::filesystem::path& cleaned, const std::string& ending);
  std::string digest_of(const std::filesystem::path& photo);

  const Folder& folder_;
  WorkerPool& workers_;
  std::mutex mutex_;
  std::condition_variable freed_;
  std::set<std::string> busy_;  // ids being written
  std::mutex storing_;
  std::map<std::filesystem::path, std::string> digests_;  // of photos kept
};

}  // namespace interstice::bench
