// The user's files in a case's folder, listed with digests before and after, and the table of it all.
#pragma once

#include <set>

#include "core/file_kind.h"
#include "core/files.h"
#include "core/result_folder.h"
#include "core/result_list.h"
#include "core/sha256.h"
#include "core/temporary.h"
#include "hard/cases.h"

namespace interstice::hard {

// Path and the first digits of the SHA-256 of every file, links with what they lead to.
using Listing = std::map<std::string, std::string>;

inline Listing listing_of(const fs::path& folder) {
  Listing out;
  std::error_code ec;
  for (const auto& entry : fs::recursive_directory_iterator(folder, ec)) {
    const std::string name = entry.path().lexically_relative(folder).string();
    const fs::file_status status = entry.symlink_status(ec);
    if (fs::is_symlink(status)) out[name] = "-> " + fs::read_symlink(entry.path(), ec).string();
    if (fs::is_regular_file(status)) out[name] = core::sha256_of(slurp(entry.path().string())).substr(0, 8);
    if (fs::is_directory(status) && fs::is_empty(entry.path(), ec)) out[name + "/"] = "empty";
    if (!fs::is_symlink(status) && fs::is_other(status)) out[name] = "a device";
  }
  return out;
}

inline std::string text_of(const Listing& listing) {
  std::string out;
  for (const auto& [name, digest] : listing) {
    std::string shown = name.size() > 60 ? name.substr(0, 16) + "..." : name;  // 8 letters of two bytes
    out += (out.empty() ? "" : ", ") + shown + " " + digest;
  }
  return out.empty() ? "none" : out;
}

// One case: the command as typed in the case's folder.
struct KeptCase {
  std::string command;
  int exit_code;
  std::string says;                     // part of the line, or of what is printed
  std::set<std::string> replaced = {};  // names that may change: what the command is to replace
  std::string before_it = {};           // shell words in front of the command, told in the table
  std::string told = {};                // what happens meanwhile, for the table
};

class KeptTable : public Cases {
 protected:
  void SetUp() override {
    Cases::SetUp();
    fs::remove_all(folder_ / "photos");
    here_ = folder_ / "here";
    fs::create_directories(here_);
  }
  void put(const std::string& name, const std::string& bytes) const {
    fs::create_directories((here_ / name).parent_path());
    std::ofstream(here_ / name, std::ios::binary) << bytes;
  }
  // An earlier result as the program itself writes one.
  void put_result(const std::string& name, const std::string& command, const std::string& piece) const {
    core::ResultFolder folder(here_ / name, {command, piece});
    core::write_new_file(folder.work() / "fit.json", "{\"format\": \"interstice-fit\"}\n");
    core::write_new_file(folder.work() / "seams.csv", "tiles\n");
    fs::create_directory(folder.work() / "scan");
    core::write_new_file(folder.work() / "scan" / "cameras.json", "{}\n");
    folder.commit();
  }
  pid_t begin(const KeptCase& c) const {
    const std::string line =
        "cd '" + here_.string() + "' && " + c.before_it + " exec '" + INTERSTICE_PROGRAM "' " + c.command;
    const pid_t child = ::fork();
    if (child != 0) return child;
    ::dup2(::open((folder_ / "stdout").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666), 1);
    ::dup2(::open((folder_ / "stderr").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666), 2);
    ::execl("/bin/sh", "sh", "-c", line.c_str(), nullptr);
    ::_exit(127);
  }
  // What must be as it was: all files there are now, but for what may be replaced.
  Listing kept_of(const Listing& all, const KeptCase& c) const {
    Listing out;
    for (const auto& [name, digest] : all) {
      const auto under = [&](const std::string& r) { return name == r || name.starts_with(r + "/"); };
      if (!std::any_of(c.replaced.begin(), c.replaced.end(), under)) out[name] = digest;
    }
    return out;
  }
  void judge(const KeptCase& c, const Listing& before, const Ran& ran) const {
    const Listing after = listing_of(here_);
    EXPECT_EQ(ran.exit_code, c.exit_code) << c.command << "\n" << ran.err << ran.out;
    const std::string& said = c.exit_code >= 2 ? ran.err : ran.out;
    EXPECT_NE(said.find(c.says), std::string::npos) << c.command << "\n" << ran.err << ran.out;
    if (c.exit_code >= 2) {
      EXPECT_EQ(lines(ran.err), 1) << ran.err;
    }
    for (const auto& [name, digest] : before) {
      EXPECT_TRUE(after.contains(name) && after.at(name) == digest)
          << c.command << ": " << name << " is not as it was";
    }
    for (const auto& [name, digest] : after)
      EXPECT_EQ(name.find(".interstice-"), std::string::npos) << c.command;
    Listing still;
    for (const auto& [name, digest] : before) {
      if (after.contains(name)) still[name] = after.at(name);
    }
    write_row(c, before, still, ran);
  }
  void write_row(const KeptCase& c, const Listing& before, const Listing& after, const Ran& ran) const {
    std::string command =
        "`" + (c.before_it.empty() ? "" : c.before_it + " ") + "interstice " + c.command + "`";
    for (std::size_t at; (at = command.find("жжжж")) != std::string::npos;) command.replace(at, 8, "");
    if (!c.told.empty()) command += " " + c.told;
    // The table knows its rows by this text.
    int same = 1;
    for (const std::string& r : rows())
      same += r.starts_with("| " + command + " |") || r.starts_with("| " + command + " (case ");
    if (same > 1) command += " (case " + std::to_string(same) + ")";
    std::string said = ran.err.empty() ? ran.out : ran.err;
    if (!said.empty() && said.back() == '\n') said.pop_back();
    said = said.substr(said.rfind('\n') + 1);
    if (said.starts_with("interstice: ")) said.erase(0, 12);
    for (std::size_t at; (at = said.find(here_.string() + "/")) != std::string::npos;)
      said.erase(at, here_.string().size() + 1);
    std::string row = "| " + command + " | " + std::to_string(ran.exit_code) + " | " + said + " | " +
                      text_of(before) + " | " + (after == before ? "the same" : text_of(after)) + " |";
    rows().push_back(row);
  }
  void check(const KeptCase& c) const {
    const Listing before = kept_of(listing_of(here_), c);
    judge(c, before, wait_for(begin(c), folder_));
  }
  static std::vector<std::string>& rows() {
    static std::vector<std::string> all;
    return all;
  }
  // The table of this run, for tests/hard/table.py.
  static void TearDownTestSuite() {
    const fs::path folder = fs::path(INTERSTICE_RESULTS) / "hard";
    fs::create_directories(folder);
    std::ofstream table(folder / "kept.md", std::ios::trunc);
    table << "| case | exit | what the program says | the user's files before | after |\n"
             "| --- | --- | --- | --- | --- |\n";
    for (const std::string& r : rows()) table << r << "\n";
  }

  fs::path here_;
};

}  // namespace interstice::hard
