// From a folder of results to the payload and tags of a bag.
#pragma once

#include "archive/archive.h"
#include "archive/bag.h"

namespace interstice::archive {

// Copies everything wanted into the bag, checks it there, and adds the preview and the model for viewers.
// Returns the entry without its id. Throws InputError naming the user's file, not the copy.
Added fill_bag(const AddRequest& request, BagWriter& writer, const ArchiveIndex& index,
               const std::filesystem::path& bags);

// Writes the tag files of a filled bag and syncs it.
void write_tags(const Entry& entry, BagWriter& writer);

// By the ending of its name.
bool is_picture(const std::filesystem::path& file);

// Today in local time, 2026-03-14.
std::string today();

}  // namespace interstice::archive
