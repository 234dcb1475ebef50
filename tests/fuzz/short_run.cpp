// A short fuzzing run without libFuzzer, for every build: the seeds, the seeds cut short, and mutations of
// them, the same ones every time.
//   fuzz_short SEEDS [RUNS_A_TARGET] [TARGET...]
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <random>
#include <string>
#include <vector>

#include "core/files.h"
#include "fuzz/targets.h"

namespace {

namespace fs = std::filesystem;
using interstice::fuzz::NamedTarget;
using Bytes = std::string;

// What readers stumble over: numbers at their limits, openings without an end, names of other keys.
const std::vector<Bytes> kWords = {"nan",
                                   "inf",
                                   "-0",
                                   "1e308",
                                   "1e999",
                                   "-1e308",
                                   "1e-320",
                                   "99999999999999999999",
                                   "0",
                                   "-1",
                                   "2147483648",
                                   "[",
                                   "]",
                                   "{",
                                   "}",
                                   "\"",
                                   ",",
                                   "[[",
                                   "null",
                                   "true",
                                   "\\u0000",
                                   "\\ud800",
                                   "\xff",
                                   "\xc3",
                                   "\n",
                                   "\r",
                                   Bytes(1, '\0'),
                                   "M",
                                   "A",
                                   "Z",
                                   "C",
                                   "e",
                                   "matrix(1e7,0,0,1e7,0,0)",
                                   "transform=\"scale(0)\"",
                                   "<g>",
                                   "&lt;",
                                   "%0A",
                                   "..",
                                   "/",
                                   "data/",
                                   Bytes("\xff\xff\xff\xff", 4),
                                   Bytes("\x7f\xff\xff\xff", 4),
                                   Bytes("\0\0\0\0", 4),
                                   Bytes(5000, 'a')};

class Mutator {
 public:
  Mutator(const std::vector<Bytes>& seeds, unsigned seed) : seeds_(seeds), random_(seed) {}

  Bytes next() {
    Bytes bytes = seeds_[below(seeds_.size())];
    const std::size_t changes = 1 + below(4);
    for (std::size_t i = 0; i < changes; ++i) change(bytes);
    return bytes;
  }

 private:
  std::size_t below(std::size_t n) { return n == 0 ? 0 : random_() % n; }

  void change(Bytes& b) {
    const std::size_t at = below(b.size() + 1), length = std::min(b.size() - at, 1 + below(40));
    switch (below(8)) {
      case 0:
        if (at < b.size()) b[at] = static_cast<char>(b[at] ^ (1 << below(8)));
        break;
      case 1:
        if (at < b.size()) b[at] = static_cast<char>(below(256));
        break;
      case 2:
        b.erase(at, length);
        break;
      case 3:
        b.insert(at, b.substr(at, length));
        break;
      case 4:
        b.insert(at, kWords[below(kWords.size())]);
        break;
      case 5:
        replace_number(b, at);
        break;
      case 6:
        b.resize(at);
        break;
      default: {
        const Bytes& other = seeds_[below(seeds_.size())];
        b = b.substr(0, at) + other.substr(below(other.size() + 1));
      }
    }
  }

  void replace_number(Bytes& b, std::size_t from) {
    const std::size_t first = b.find_first_of("0123456789", from);
    if (first == Bytes::npos) return;
    const std::size_t last = b.find_first_not_of("0123456789.eE+-", first);
    b.replace(first, (last == Bytes::npos ? b.size() : last) - first, kWords[below(13)]);
  }

  const std::vector<Bytes>& seeds_;
  std::mt19937 random_;
};

// The place'th opening of a seed with what is opened and closed five thousand times, one within another,
// behind it.
Bytes deep(const Bytes& seed, int place, char opening, const Bytes& open, const Bytes& close,
           const Bytes& name = "", const Bytes& end = "") {
  std::size_t at = Bytes::npos;
  for (int i = 0; i <= place; ++i) {
    at = seed.find(opening, at + 1);
    if (at == Bytes::npos) return {};
  }
  Bytes in = name;
  for (int i = 0; i < 5000; ++i) in += open;
  for (int i = 0; i < 5000; ++i) in += close;
  return seed.substr(0, at + 1) + in + end + seed.substr(at + 1);
}

std::vector<Bytes> read_seeds(const fs::path& folder) {
  std::vector<fs::path> paths;
  for (const auto& entry : fs::directory_iterator(folder)) paths.push_back(entry.path());
  std::sort(paths.begin(), paths.end());
  std::vector<Bytes> seeds;
  for (const fs::path& path : paths) seeds.push_back(interstice::core::read_file(path));
  return seeds;
}

// The input under way stays in this file when a reader fails on it.
const char* const kLast = "fuzz_last_input";

void run_one(const NamedTarget& target, const Bytes& bytes) {
  std::FILE* last = std::fopen(kLast, "wb");
  if (last) {
    std::fwrite(bytes.data(), 1, bytes.size(), last);
    std::fclose(last);
  }
  target.run(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "fuzz_short SEEDS [RUNS_A_TARGET] [TARGET...]\n");
    return 2;
  }
  const long runs = argc > 2 ? std::atol(argv[2]) : 1000;
  for (const NamedTarget& target : interstice::fuzz::targets()) {
    if (argc > 3 && std::find(argv + 3, argv + argc, std::string(target.name)) == argv + argc) continue;
    const std::vector<Bytes> seeds = read_seeds(fs::path(argv[1]) / target.name);
    if (seeds.empty()) {
      std::fprintf(stderr, "%s has no seeds\n", target.name);
      return 1;
    }
    std::fprintf(stderr, "%s: %zu seeds, %ld mutations\n", target.name, seeds.size(), runs);
    for (const Bytes& seed : seeds) {
      for (std::size_t cut = 0; cut <= 16; ++cut) run_one(target, seed.substr(0, seed.size() * cut / 16));
    }
    for (const Bytes& seed : seeds) {
      for (int place = 0; place < 6; ++place) {
        run_one(target, deep(seed, place, '>', "<g>", "</g>"));
        run_one(target, deep(seed, place, '[', "[", "]", "", ","));
        run_one(target, deep(seed, place, '{', "[", "]", "\"deep\":", ","));
        run_one(target, deep(seed, place, '{', "{\"a\":[", "]}", "\"deep\":", ","));
      }
    }
    Mutator mutator(seeds, 1);
    for (long i = 0; i < runs; ++i) run_one(target, mutator.next());
  }
  std::remove(kLast);
  return 0;
}
