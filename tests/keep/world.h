// A user's folders made up by chance: photos, plans, earlier results (touched or not), archives and what
// looks like one, links of every kind; and what of it must be the same afterwards, whatever the program does.
#pragma once

#include <filesystem>
#include <map>
#include <random>
#include <string>
#include <vector>

namespace interstice::keep {

namespace fs = std::filesystem;

class World {
 public:
  // Below `root`, which must not exist. The same seed makes the same world.
  World(fs::path root, unsigned seed);
  ~World();
  World(const World&) = delete;
  World& operator=(const World&) = delete;

  // A file of the user's, of one of many kinds; what it holds is nobody else's.
  void put(const fs::path& path);
  // Something a user may do while a run is going on: a file put where the result is to be, the result taken
  // away.
  void meddle(const fs::path& target);

  // A path as it may be given for --out, --archive or an input: there or not, by links, with dots and
  // slashes.
  fs::path some_path();
  int chance(int n) { return static_cast<int>(random_() % static_cast<unsigned>(n)); }

  // What is not as it was of the user's files and links, a line each; empty: all is as it was.
  std::string lost() const;
  // Hidden folders of the program's own that are left, but for those with a result that found no other place.
  std::vector<fs::path> left_over() const;
  // Results that are complete, whatever stands beside their files.
  std::vector<fs::path> complete_results() const;

  const fs::path& root() const { return root_; }

 private:
  void make_results();
  void touch_results();
  void make_archives();
  void make_links();
  fs::path some_place();

  fs::path root_;
  std::mt19937 random_;
  int made_ = 0;
  std::map<fs::path, std::string> files_, links_;  // of the user's
};

// Whether a folder holds a result exactly as its list says; complete: and perhaps more.
bool is_whole_result(const fs::path& folder);
bool is_complete_result(const fs::path& folder);

}  // namespace interstice::keep
