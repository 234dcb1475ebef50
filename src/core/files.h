// Reading and writing whole files. What a command writes for the user goes through core/output_file.h or
// core/result_folder.h, which look at what stands there first.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

namespace interstice::core {

// Reads a whole file. Throws InputError naming the file when it cannot be read, is a folder, or is larger
// than max_bytes.
std::string read_file(const std::filesystem::path& path, std::uintmax_t max_bytes = 256u << 20);

// Writes a file that is not there yet, to the disk. For folders that only this program knows. Throws
// InputError naming it when something stands there or the disk takes no more.
void write_new_file(const std::filesystem::path& path, std::string_view bytes);

// Puts bytes in place of whatever file stands at path, whole or not at all (OutputFile of any kind). For
// files that are the program's own.
void write_file_atomically(const std::filesystem::path& path, std::string_view bytes);

// All bytes, to the disk; `path` is what an InputError names.
void write_all(int fd, std::string_view bytes, const std::filesystem::path& path);

}  // namespace interstice::core
