// A small picture of an entry, for looking through an archive.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "seams/fit_document.h"

namespace interstice::archive {

// The picture scaled down to at most 1024 pixels a side, as PNG; nothing when it cannot be read as a picture.
std::optional<std::string> preview_of_picture(const std::filesystem::path& picture);

// The placed pieces seen along the form's axis from above, drawn from their outlines, as PNG: for entries
// without an ortho picture. Nothing when no piece is placed.
std::optional<std::string> preview_of_pieces(const seams::FitDocument& fit);

}  // namespace interstice::archive
