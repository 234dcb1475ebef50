// Text and file names from outside, made safe before they become part of an archive.
//
// Names are checked as everywhere (core/name_check.h); here are their uses as keys and in paths.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/name_check.h"

namespace interstice::archive {

// Key for finding: compatibility-folded and case-folded, so that "Éclat" finds "éclat".
std::string search_key(const std::string& text);

// Folder name made of a name: lower-case ASCII letters, digits and hyphens, at most 40; "piece" if none is
// left.
std::string slug(const std::string& text);

// Columns the text takes on a screen.
std::size_t display_width(const std::string& text);

// What is wrong with a path as the place of a file inside a bag ("leads out of the bag", ...); nothing if it
// is fine. Accepts relative paths with '/' between non-empty parts.
std::optional<std::string> path_fault(const std::string& path);

// The first two paths that a file system ignoring case or Unicode form would take for one file.
std::optional<std::pair<std::string, std::string>> colliding_paths(const std::vector<std::string>& paths);

// "2026-03-14": a day of the calendar. Throws InputError(what, ...).
std::string checked_date(const std::string& text, const std::string& what);

}  // namespace interstice::archive
