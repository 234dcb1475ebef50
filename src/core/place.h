// Giving a finished file or folder its name without taking anything that stands there unseen.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "core/temporary.h"

namespace interstice::core {

// The reason of a failed system call, for a person.
std::string system_words(int error);

// Gives `from` a name that nothing has yet; false (errno set) when something stands there or the disk
// refuses. Race-free also on disks without RENAME_NOREPLACE.
bool rename_to_new_name(const std::filesystem::path& from, const std::filesystem::path& to);

// Gives `from` a plain name beside `target` that nothing has yet: NAME + ending, NAME + ending-2, ... before
// the file's extension. The path it has then; nothing when there is none to be had.
std::optional<std::filesystem::path> rename_beside(const std::filesystem::path& from,
                                                   const std::filesystem::path& target,
                                                   const std::string& ending);

// Why what stands at a path must stay there, as the end of a line to the user; nothing: it may be replaced.
// `path` is where it stands now, which need not be the target.
using MayReplace = std::function<std::optional<std::string>(const std::filesystem::path& path)>;

// Puts what is in temporary.fresh() at `target`. What stands there is judged first and, where the disk can
// exchange names, once more when it has been taken out of reach of everybody else; then it is removed.
// Throws InputError when it must stay or the disk refuses; the result is then kept beside the target, and the
// line says where.
void put_in_place(Temporary& temporary, const std::filesystem::path& target, const MayReplace& may_replace);

}  // namespace interstice::core
