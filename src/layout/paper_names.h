// What the maker says of each piece of paper: its label, and with it its place: the ring, and which in the ring.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace interstice::layout {

struct PaperName {
  std::size_t paper = 0;  // index into all pictures' pieces, in their order
  std::string label;
  int ring = 1;  // ring 1 stands on the rim
};

// Lines of "P07, B03" or "P07, B03, 2" (proposed, label, ring; '#' begins a comment). Without a third column the
// label's first letter is the ring: A is 1, B is 2. Rings from 1 upwards without one left out. The result is in
// order: ring by ring, in a ring by the number in the label ("B2" before "B10"). Throws InputError naming file
// and line.
std::vector<PaperName> read_paper_names(const std::string& text, const std::string& file, std::size_t papers);

// "P01", "P02", ... as pieces are numbered in the pictures.
std::string proposed_name(std::size_t paper);

}  // namespace interstice::layout
