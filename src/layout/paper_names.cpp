#include "layout/paper_names.h"

#include <algorithm>
#include <cctype>
#include <set>
#include <sstream>

#include "core/errors.h"
#include "core/name_check.h"
#include "core/trimmed.h"

namespace interstice::layout {
namespace {

bool is_digit(char c) {
  return std::isdigit(static_cast<unsigned char>(c)) != 0;
}

// Runs of digits compare as numbers, so that B2 comes before B10.
bool natural_less(const std::string& a, const std::string& b) {
  std::size_t i = 0, j = 0;
  while (i < a.size() && j < b.size()) {
    if (!is_digit(a[i]) || !is_digit(b[j])) {
      if (a[i] != b[j]) return a[i] < b[j];
      ++i, ++j;
      continue;
    }
    while (i + 1 < a.size() && a[i] == '0' && is_digit(a[i + 1])) ++i;
    while (j + 1 < b.size() && b[j] == '0' && is_digit(b[j + 1])) ++j;
    std::size_t p = i, q = j;
    while (p < a.size() && is_digit(a[p])) ++p;
    while (q < b.size() && is_digit(b[q])) ++q;
    if (p - i != q - j) return p - i < q - j;
    if (const int order = a.compare(i, p - i, b, j, q - j); order != 0) return order < 0;
    i = p, j = q;
  }
  return a.size() - i < b.size() - j;
}

std::vector<std::string> columns_of(const std::string& line) {
  std::vector<std::string> columns;
  std::size_t from = 0;
  for (;;) {
    const std::size_t to = line.find_first_of(",;\t", from);
    columns.push_back(core::trimmed(line.substr(from, to == std::string::npos ? to : to - from)));
    if (to == std::string::npos) return columns;
    from = to + 1;
  }
}

// One to two digits, 1 to 40; 0 where it is none.
int ring_number(const std::string& text) {
  if (text.empty() || text.size() > 2 || !std::all_of(text.begin(), text.end(), is_digit)) return 0;
  const int ring = std::stoi(text);
  return ring <= 40 ? ring : 0;
}

class NameReader {
 public:
  NameReader(std::string file, std::size_t papers) : file_(std::move(file)), papers_(papers) {}

  void take(const std::string& line, int number) {
    const auto fail = [&](const std::string& what) {
      throw core::InputError(file_, "line " + std::to_string(number) + ": " + what);
    };
    const std::vector<std::string> columns = columns_of(line);
    if (columns.size() < 2 || columns.size() > 3)
      fail("needs a paper's number and its label with a comma between them, such as P07, B03");
    PaperName name;
    name.paper = papers_;
    for (std::size_t k = 0; k < papers_; ++k) {
      if (proposed_name(k) == columns[0]) name.paper = k;
    }
    if (name.paper == papers_)
      fail("no paper is numbered \"" + core::one_line(columns[0], 40) + "\"; they are P01 to " +
           proposed_name(papers_ - 1));
    name.label = columns[1];
    if (name.label.empty() || name.label.size() > 40) fail("the label must have 1 to 40 characters");
    if (const auto fault = core::character_fault(name.label)) fail("the label " + *fault);
    name.ring = columns.size() == 3 ? ring_number(columns[2]) : ring_letter(name.label);
    if (name.ring < 1)
      fail(columns.size() == 3
               ? "the ring must be a number from 1 to 40"
               : "the label does not begin with its ring's letter (A is the lowest); give the "
                 "ring as a third column");
    if (!labels_.insert(name.label).second)
      fail("the label \"" + core::one_line(name.label, 40) + "\" stands twice");
    if (!used_.insert(name.paper).second) fail(columns[0] + " stands twice");
    names_.push_back(name);
  }

  std::vector<PaperName> finish() {
    std::sort(names_.begin(), names_.end(), [](const PaperName& a, const PaperName& b) {
      return a.ring != b.ring ? a.ring < b.ring : natural_less(a.label, b.label);
    });
    int last = 0;
    for (const PaperName& name : names_) {
      if (name.ring > last + 1)
        throw core::InputError(file_, "ring " + std::to_string(last + 1) + " has no paper, but ring " +
                                          std::to_string(name.ring) +
                                          " has: papers are laid from the rim upwards");
      last = name.ring;
    }
    if (names_.empty()) throw core::InputError(file_, "names no paper");
    return std::move(names_);
  }

 private:
  static int ring_letter(const std::string& label) {
    const char c = label[0];
    if (c >= 'A' && c <= 'Z') return c - 'A' + 1;
    return c >= 'a' && c <= 'z' ? c - 'a' + 1 : 0;
  }

  std::string file_;
  std::size_t papers_;
  std::vector<PaperName> names_;
  std::set<std::string> labels_;
  std::set<std::size_t> used_;
};

}  // namespace

std::string proposed_name(std::size_t paper) {
  const std::string number = std::to_string(paper + 1);
  return "P" + std::string(number.size() < 2 ? 1 : 0, '0') + number;
}

std::vector<PaperName> read_paper_names(const std::string& text, const std::string& file,
                                        std::size_t papers) {
  NameReader reader(file, papers);
  std::istringstream in(text);
  std::string line;
  for (int number = 1; std::getline(in, line); ++number) {
    line = core::trimmed(line.substr(0, line.find('#')));
    if (!line.empty()) reader.take(line, number);
  }
  return reader.finish();
}

}  // namespace interstice::layout
