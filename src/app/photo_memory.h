// Which folder a scan's photos were in, kept on this computer alone: scans go from hand to hand, and must not
// tell how somebody's folders are called, nor say what is to be read on the computer of whoever gets them.
//
// One file a scan in $XDG_STATE_HOME/interstice/photos (or ~/.local/state/...), named by the digest of its
// scan.json; the oldest go when there are more than 1000.
#pragma once

#include <filesystem>

namespace interstice::app {

// Without a place to keep it, it is not kept: the photos are then looked for beside the scan, or named anew.
void remember_photos(const std::filesystem::path& scan_folder, const std::filesystem::path& photos);

// Empty if nothing is known.
std::filesystem::path remembered_photos(const std::filesystem::path& scan_folder);

}  // namespace interstice::app
