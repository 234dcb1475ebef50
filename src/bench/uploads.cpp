#include "bench/uploads.h"

#include <fmt/core.h>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/place.h"
#include "core/sha256.h"

namespace fs = std::filesystem;

namespace interstice::bench {
namespace {

constexpr int kProofTries = 2;  // a reader may have gone down over something else

SliceTaken refused(int status, const std::string& why) {
  return {status, 0, std::nullopt, why};
}

std::uint64_t size_of(const fs::path& file) {
  std::error_code ec;
  const std::uintmax_t size = fs::file_size(file, ec);
  return ec ? 0 : size;
}

bool is_upload_id(const std::string& id) {
  return id.size() == 32 && id.find_first_not_of("0123456789abcdef") == std::string::npos;
}

void sync_folder(const fs::path& folder) {
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  const bool done = fd >= 0 && ::fsync(fd) == 0;
  const int error = errno;
  if (fd >= 0) ::close(fd);
  if (!done) throw core::InputError(folder.string(), "cannot be written: " + core::system_words(error));
}

// The number in photo_007.jpg; 0 for another name.
int number_of(const std::string& name) {
  int number = 0;
  return std::sscanf(name.c_str(), "photo_%d.", &number) == 1 ? number : 0;
}

}  // namespace

Uploads::Uploads(const Folder& folder, WorkerPool& workers) : folder_(folder), workers_(workers) {
  const fs::path uploads = folder.own() / "uploads";
  const auto day_ago = fs::file_time_type::clock::now() - std::chrono::hours(24);
  for (const std::string& name : folder.files_in(uploads)) {
    std::error_code ec;
    const bool old = fs::last_write_time(uploads / name, ec) < day_ago;
    if (!name.ends_with(".part") || old) fs::remove(uploads / name, ec);
  }
}

fs::path Uploads::part_of(const std::string& id) const {
  return folder_.own() / "uploads" / (id + ".part");
}

SliceTaken Uploads::take(const ScanOfBowl& scan, const Slice& slice) {
  if (!is_upload_id(slice.id)) return refused(400, "an upload's id has 32 hexadecimal digits");
  if (slice.total == 0 || slice.at > slice.total || slice.bytes->size() > slice.total - slice.at)
    return refused(400, "the slice does not lie within the photo");
  if (slice.total > kMostPhotoBytes)
    return refused(413, "the photo is larger than " + std::to_string(kMostPhotoBytes >> 20) + " MB");
  if (folder_.free_bytes() < kFreeBytesKept + slice.total)
    return refused(507, "the computer's disk is nearly full; make room there, the photo waits here");
  if (folder_.files_in(folder_.scan_path(scan.bowl, scan.key) / "photos").size() >= kMostPhotosAScan)
    return refused(422, "this scan holds " + std::to_string(kMostPhotosAScan) + " photos; begin another");
  {
    std::unique_lock<std::mutex> lock(mutex_);
    freed_.wait(lock, [&] { return !busy_.contains(slice.id); });
    busy_.insert(slice.id);
  }
  SliceTaken taken;
  try {
    taken = append(slice, part_of(slice.id));
    if (taken.status == 200) taken = store(scan, slice.id);
  } catch (const std::exception& e) {
    taken = refused(500, core::one_line(e.what(), 300));
  }
  {
    const std::lock_guard<std::mutex> lock(mutex_);
    busy_.erase(slice.id);
  }
  freed_.notify_all();
  return taken;
}

// 200: the photo is complete.
SliceTaken Uploads::append(const Slice& slice, const fs::path& part) {
  std::error_code ec;
  const std::uint64_t have = size_of(part);
  if (slice.at != have) return {409, have, std::nullopt, "go on from where it broke off"};
  if (have == 0 && !fs::exists(part, ec) && folder_.files_in(part.parent_path()).size() >= kMostUnfinished)
    return refused(429, "too many photos are half sent; let them arrive first");
  const int fd = ::open(part.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (fd < 0) return refused(500, "cannot be kept: " + core::system_words(errno));
  std::string_view left = *slice.bytes;
  int error = 0;
  while (!left.empty() && error == 0) {
    const ssize_t n = ::write(fd, left.data(), left.size());
    if (n >= 0) left.remove_prefix(static_cast<std::size_t>(n));
    if (n < 0 && errno != EINTR) error = errno;
  }
  ::close(fd);
  if (error != 0) return refused(error == ENOSPC ? 507 : 500, "cannot be kept: " + core::system_words(error));
  const std::uint64_t now = have + slice.bytes->size();
  return {now == slice.total ? 200 : 202, now, std::nullopt, ""};
}

SliceTaken Uploads::store(const ScanOfBowl& scan, const std::string& id) {
  const fs::path part = part_of(id), cleaned = folder_.own() / "uploads" / (id + ".clean");
  const nlohmann::ordered_json question = {{"do", "clean"}, {"in", part.string()}, {"out", cleaned.string()}};
  std::optional<std::string> answer;
  for (int i = 0; i < kProofTries && !answer; ++i) {
    answer = workers_.ask_and_wait(question.dump(), WorkerPool::Haste::somebody_waits);
    if (!answer && workers_.is_closed())
      return refused(503, "the bench is closing; the photo is sent again later");
  }
  std::error_code ec;
  SliceTaken taken;
  if (!answer) {
    taken = refused(422, "the photo cannot be read: its reader stopped; leave it out");
  } else {
    const nlohmann::json document = core::parse_json(*answer, "answer");
    const core::JsonNode node(document, "answer");
    if (node.at("ok").boolean()) {
      taken.photo = keep(scan, cleaned, node.at("ending").text());
    } else {
      taken = refused(422, node.at("fault").text(1000));
    }
  }
  fs::remove(cleaned, ec);
  fs::remove(part, ec);
  return taken;
}

std::string Uploads::digest_of(const fs::path& photo) {
  std::string& digest = digests_[photo];
  if (digest.empty()) digest = core::sha256_of(core::read_file(photo));
  return digest;
}

StoredPhoto Uploads::keep(const ScanOfBowl& scan, const fs::path& cleaned, const std::string& ending) {
  const std::lock_guard<std::mutex> lock(storing_);
  const fs::path photos = folder_.scan_path(scan.bowl, scan.key) / "photos";
  const std::string bytes = core::read_file(cleaned), digest = core::sha256_of(bytes);
  int last = 0;
  for (const fs::path& folder : {photos, folder_.scan_path(scan.bowl, scan.key) / "set-aside"}) {
    for (const std::string& name : folder_.files_in(folder)) {
      last = std::max(last, number_of(name));
      if (digest_of(folder / name) == digest) return {name, digest, bytes.size(), true};
    }
  }
  for (int number = last + 1; number < 100000; ++number) {
    const std::string name = fmt::format("photo_{:03}.{}", number, ending);
    if (!core::rename_to_new_name(cleaned, photos / name)) {
      if (errno == EEXIST) continue;
      throw core::InputError(name, "cannot be kept: " + core::system_words(errno));
    }
    sync_folder(photos);
    digests_[photos / name] = digest;
    return {name, digest, bytes.size(), false};
  }
  throw core::InputError("no name is left for the photo");
}

}  // namespace interstice::bench
