// A folder of results that appears under its name only when complete, and never in place of anything that is
// not an earlier result of ours (core/result_list.h says how that is known).
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "core/inputs.h"
#include "core/temporary.h"

namespace interstice::core {

struct ResultOf {
  std::string command{};  // that writes it
  std::string piece{};    // the plan's name
  bool replace = false;   // an earlier result of the same command and piece may go
  Inputs inputs{};        // of the run
};

// Fill work(), then commit(). Without a commit work() is removed and what stands under the target's name is
// untouched.
class ResultFolder {
 public:
  // Before any work. Throws InputError when the folder cannot be made there, or what stands there must stay:
  // it holds anything that was not written by an earlier run, an input of this one, a result of another piece
  // or command, or an earlier result and `replace` is not given. An empty folder may be used.
  ResultFolder(const std::filesystem::path& target, ResultOf result);
  ~ResultFolder();
  ResultFolder(const ResultFolder&) = delete;
  ResultFolder& operator=(const ResultFolder&) = delete;

  std::filesystem::path work() const { return temporary_->fresh(); }
  // Lists what is in work() in its result.json and gives it its name. What stands there is looked at again;
  // if it must stay, the new result is kept beside it, and the InputError says where.
  void commit();

 private:
  std::optional<std::string> must_stay(const std::filesystem::path& path) const;
  std::optional<std::string> holds_other_things(const std::filesystem::path& path) const;
  void make_work();
  void remove_made_folders();

  std::filesystem::path name_;       // as given
  std::filesystem::path target_;     // absolute, without links
  std::filesystem::path made_from_;  // topmost folder made for it, removed again without a commit
  ResultOf result_;
  std::unique_ptr<Temporary> temporary_;
};

}  // namespace interstice::core
