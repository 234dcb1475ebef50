#include "core/kept_work.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <fstream>
#include <vector>

#include "core/errors.h"
#include "core/files.h"
#include "core/sha256.h"

namespace fs = std::filesystem;

namespace interstice::core {
namespace {

constexpr std::string_view kFirstLine = "interstice-kept 1\n";

std::string head_of(const std::string& program, const std::string& made_from) {
  return std::string(kFirstLine) + program + "\n" + made_from + "\n";
}

bool is_of_this_kind(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::string line(kFirstLine.size(), '\0');
  return in.read(line.data(), static_cast<std::streamsize>(line.size())) && line == kFirstLine;
}

// Whole or not at all. Not synced: what a crash leaves of it does not fit its digest.
bool write_whole(const fs::path& file, std::string_view bytes) {
  static std::atomic<unsigned> number{0};
  const fs::path under_way =
      file.parent_path() / ("." + file.stem().string() + "-" + std::to_string(::getpid()) + "-" +
                            std::to_string(number++) + KeptWork::kEnding);
  const int fd = ::open(under_way.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
  if (fd < 0) return false;
  bool whole = true;
  while (!bytes.empty() && whole) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n >= 0) bytes.remove_prefix(static_cast<std::size_t>(n));
    whole = n >= 0 || errno == EINTR;
  }
  whole = ::close(fd) == 0 && whole;
  std::error_code ec;
  if (whole) fs::rename(under_way, file, ec);
  if (!whole || ec) ::unlink(under_way.c_str());
  return whole && !ec;
}

}  // namespace

KeptWork::KeptWork(fs::path folder, std::string program, std::uintmax_t most_bytes)
    : folder_(std::move(folder)), program_(std::move(program)), most_bytes_(most_bytes) {}

fs::path KeptWork::file_of(const std::string& made_from) const {
  return folder_ / (sha256_of(head_of(program_, made_from)) + kEnding);
}

std::optional<std::string> KeptWork::find(const std::string& made_from) const {
  try {
    const fs::path file = file_of(made_from);
    if (!fs::is_regular_file(fs::symlink_status(file))) return std::nullopt;
    const std::string bytes = read_file(file, most_bytes_), head = head_of(program_, made_from);
    constexpr std::size_t kDigestLine = 65;
    const std::size_t begin = head.size() + kDigestLine;
    if (!bytes.starts_with(head) || bytes.size() < begin) return std::nullopt;
    std::string work = bytes.substr(begin);
    if (bytes.compare(head.size(), kDigestLine, sha256_of(work) + "\n") != 0) return std::nullopt;
    return work;
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

void KeptWork::put(const std::string& made_from, std::string_view work) const {
  try {
    std::error_code ec;
    fs::create_directory(folder_, ec);
    const std::string bytes = head_of(program_, made_from) + sha256_of(work) + "\n" + std::string(work);
    if (bytes.size() > most_bytes_) return;
    make_room(bytes.size());
    write_whole(file_of(made_from), bytes);
  } catch (const std::exception&) {
    // It is done again the next time.
  }
}

void KeptWork::make_room(std::uintmax_t bytes) const {
  struct Kept {
    fs::path file;
    fs::file_time_type written;
    std::uintmax_t size;
  };
  std::vector<Kept> all;
  std::uintmax_t sum = bytes;
  std::error_code ec;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder_, ec)) {
    std::error_code unknown;
    if (entry.path().extension() != kEnding || !fs::is_regular_file(entry.symlink_status(unknown))) continue;
    all.push_back({entry.path(), entry.last_write_time(unknown), entry.file_size(unknown)});
    if (unknown) {  // gone in the meantime
      all.pop_back();
      continue;
    }
    sum += all.back().size;
  }
  if (sum <= most_bytes_) return;
  std::sort(all.begin(), all.end(), [](const Kept& a, const Kept& b) { return a.written < b.written; });
  for (const Kept& kept : all) {
    if (sum <= most_bytes_) return;
    if (!is_of_this_kind(kept.file)) continue;
    if (fs::remove(kept.file, ec)) sum -= kept.size;
  }
}

std::string this_program() {
  try {
    return sha256_of(read_file("/proc/self/exe", std::uintmax_t{1} << 30));
  } catch (const InputError&) {
    return "";
  }
}

}  // namespace interstice::core
