// One file that a command writes. It appears whole or not at all, and never in place of an input of the run,
// of a file of another kind, or of one that somebody has worked on since.
#pragma once

#include <filesystem>
#include <memory>
#include <string_view>

#include "core/file_kind.h"
#include "core/inputs.h"
#include "core/temporary.h"

namespace interstice::core {

class OutputFile {
 public:
  // Before any work: throws InputError (one line) when the file cannot be written there or must not take the
  // place of what stands there. A link stays a link: what it leads to is replaced. Pipes and devices
  // (/dev/stdout) are written to directly, a disk itself (block device) never.
  OutputFile(const std::filesystem::path& name, FileKind kind, Inputs inputs = {});
  ~OutputFile();
  OutputFile(OutputFile&&) noexcept;
  OutputFile& operator=(OutputFile&&) = delete;

  // Puts the bytes, sealed where the kind is (core/file_kind.h), in their place; the permissions of a file
  // replaced are kept. What stands there is looked at again; if it must stay, the new file is kept beside it,
  // and the InputError says where. Once only.
  void write(std::string_view bytes);

 private:
  std::optional<std::string> must_stay(const std::filesystem::path& path) const;
  void fill(std::string_view bytes) const;

  std::filesystem::path name_;  // as given
  std::filesystem::path path_;  // behind links, absolute
  FileKind kind_;
  Inputs inputs_;
  int descriptor_ = -1;  // to be written to directly, if not -1
  bool direct_ = false;
  std::unique_ptr<Temporary> temporary_;
};

}  // namespace interstice::core
