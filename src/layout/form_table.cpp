#include "layout/form_table.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <map>
#include <set>
#include <sstream>

#include "core/errors.h"
#include "core/trimmed.h"

namespace interstice::layout {
namespace {

constexpr std::size_t kMaxTablePoints = 100000;

using Cells = std::vector<std::string>;

// A number written with point or comma as `mark`; the whole text must be one.
std::optional<double> number(std::string text, char mark) {
  if (text.starts_with('+')) text.erase(0, 1);
  if (mark == ',') {
    if (text.find('.') != std::string::npos) return std::nullopt;
    std::replace(text.begin(), text.end(), ',', '.');
  }
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

Cells split(const std::string& line, const char* separators, bool keep_empty) {
  Cells out;
  std::string cell;
  for (const char c : line + separators[0]) {
    if (std::string_view(separators).find(c) == std::string_view::npos) {
      cell += c;
      continue;
    }
    cell = core::trimmed(cell);
    if (keep_empty || !cell.empty()) out.push_back(cell);
    cell.clear();
  }
  return out;
}

// What stands between the numbers of a line, and which decimal mark that leaves.
struct SplitLine {
  Cells cells;
  char mark = '.';
};

SplitLine laid_out(const std::string& line) {
  if (line.find(';') != std::string::npos)
    return {split(line, ";", true), line.find(',') != std::string::npos ? ',' : '.'};
  if (line.find('\t') != std::string::npos) {
    SplitLine tabs{split(line, "\t", true), line.find(',') != std::string::npos ? ',' : '.'};
    if (tabs.cells.size() > 1) return tabs;
  }
  const Cells words = split(line, " \t", false);
  const auto with_comma = [](const std::string& w) {
    return w.find(',') != std::string::npos && number(w, ',').has_value() && !number(w, '.').has_value();
  };
  const auto plain = [&](const std::string& w) { return with_comma(w) || number(w, '.').has_value(); };
  if (words.size() > 1 && std::any_of(words.begin(), words.end(), with_comma) &&
      std::all_of(words.begin(), words.end(), plain))
    return {words, ','};
  if (line.find(',') == std::string::npos) return {words, '.'};
  Cells cells;
  for (const std::string& cell : split(line, ",", true)) {
    // "0 , 60" and "0, 60 mm" alike: a cell may hold words.
    cells.push_back(cell);
  }
  return {cells, '.'};
}

struct Column {
  enum class Kind { other, radius, diameter, height } kind = Kind::other;
  std::optional<double> unit_mm;
};

Column column_of(std::string name) {
  for (char& c : name) {
    c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    if (std::isalnum(static_cast<unsigned char>(c)) == 0 && c != '"') c = ' ';
  }
  static const std::map<std::string, Column::Kind> kinds{
      {"r", Column::Kind::radius},          {"radius", Column::Kind::radius},
      {"radii", Column::Kind::radius},      {"rad", Column::Kind::radius},
      {"x", Column::Kind::radius},          {"d", Column::Kind::diameter},
      {"dia", Column::Kind::diameter},      {"diam", Column::Kind::diameter},
      {"diameter", Column::Kind::diameter}, {"diameters", Column::Kind::diameter},
      {"z", Column::Kind::height},          {"h", Column::Kind::height},
      {"height", Column::Kind::height},     {"heights", Column::Kind::height},
      {"y", Column::Kind::height}};
  static const std::map<std::string, double> units{
      {"mm", 1}, {"cm", 10}, {"in", 25.4}, {"inch", 25.4}, {"inches", 25.4}, {"\"", 25.4}, {"m", 1000}};
  Column column;
  for (const std::string& word : split(name, " ", false)) {
    if (const auto it = kinds.find(word); it != kinds.end() && column.kind == Column::Kind::other)
      column.kind = it->second;
    else if (const auto unit = units.find(word); unit != units.end() && !column.unit_mm)
      column.unit_mm = unit->second;
  }
  return column;
}

struct Columns {
  std::size_t r = 0, z = 1, count = 2;  // which cells; how many a line has (0: any)
  bool diameters = false;
  double unit_mm = 1;
};

std::string unit_name(double mm) {
  return mm == 1 ? "mm" : mm == 10 ? "cm" : mm == 25.4 ? "in" : "m";
}

// What a heading says, against what the command line says.
Columns read_heading(const std::string& line, const std::string& place, const std::string& file,
                     const ProfileReading& reading, FormTable& table) {
  using Kind = Column::Kind;
  Columns columns;
  columns.diameters = reading.diameters;
  columns.unit_mm = reading.unit_mm.value_or(1);
  const char* between = line.find(';') != std::string::npos    ? ";"
                        : line.find('\t') != std::string::npos ? "\t"
                        : line.find(',') != std::string::npos  ? ","
                                                               : " ";
  const Cells cells = split(line, between, between[0] != ' ');
  std::optional<std::size_t> across, up;
  std::optional<double> unit;
  bool diameter = false;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const Column c = column_of(cells[i]);
    const bool is_across = c.kind == Kind::radius || c.kind == Kind::diameter;
    if (is_across && !across) across = i, diameter = c.kind == Kind::diameter;
    if (c.kind == Kind::height && !up) up = i;
    if (!c.unit_mm || (cells.size() > 1 && c.kind == Kind::other)) continue;
    if (unit && *unit != *c.unit_mm)
      throw core::InputError(file, place + ": the heading names two units, " + unit_name(*unit) + " and " +
                                       unit_name(*c.unit_mm) + "; give both columns in one");
    unit = c.unit_mm;
  }
  if (unit && reading.unit_mm && *unit != *reading.unit_mm)
    throw core::InputError(file, place + ": the heading says " + unit_name(*unit) + ", --unit says " +
                                     unit_name(*reading.unit_mm) + "; leave --unit out");
  if (unit) columns.unit_mm = *unit;
  if (!across || !up) {
    table.notes.push_back(place + " is taken for a heading that names no columns; they are taken as " +
                          (columns.diameters ? "diameter" : "r") + " and z");
    return columns;
  }
  if (!diameter && reading.diameters)
    throw core::InputError(file, place + ": the heading says radius, not diameter; leave --diameters out");
  columns.r = *across, columns.z = *up, columns.count = cells.size(), columns.diameters = diameter;
  if (diameter) table.notes.push_back("the heading says diameter: halved");
  if (unit && *unit != 1) table.notes.push_back("the heading says " + unit_name(*unit));
  return columns;
}

bool is_heading(const std::string& line) {
  const auto letter = [](char c) {
    return std::isalpha(static_cast<unsigned char>(c)) != 0 || (c & 0x80) != 0;
  };
  if (!letter(line.front()) && line.front() != '"' && line.front() != '(') return false;
  return !line.starts_with("nan") && !line.starts_with("inf");
}

Eigen::Vector2d read_line(const std::string& line, const std::string& place, const std::string& file,
                          const Columns& columns) {
  SplitLine cells = laid_out(line);
  while (cells.cells.size() > columns.count && cells.cells.back().empty()) cells.cells.pop_back();
  if (cells.cells.size() != columns.count) {
    const bool commas = cells.mark == '.' && std::count(line.begin(), line.end(), ',') == 3;
    throw core::InputError(
        file, place +
                  (columns.count == 2 ? ": two numbers are needed, r and z, not "
                                      : ": as many numbers are needed as the heading names, not ") +
                  std::to_string(cells.cells.size()) +
                  (commas ? "; with decimal commas put a semicolon between the numbers" : ""));
  }
  Eigen::Vector2d p;
  for (int k = 0; k < 2; ++k) {
    const std::string& cell = cells.cells[k == 0 ? columns.r : columns.z];
    std::optional<double> value = number(cell, cells.mark);
    if (!value && cells.mark == ',') value = number(cell, '.');
    if (!value) {
      throw core::InputError(file, place + ": \"" + core::one_line(cell, 30) + "\" is not a number");
    }
    if (!std::isfinite(*value)) throw core::InputError(file, place + ": not a finite number");
    p(k) = *value;
  }
  return p;
}

}  // namespace

FormTable read_form_table(const std::string& text, const std::string& file, const ProfileReading& reading) {
  FormTable table;
  Columns columns;
  columns.diameters = reading.diameters;
  columns.unit_mm = reading.unit_mm.value_or(1);
  std::istringstream in(text.starts_with("\xef\xbb\xbf") ? text.substr(3) : text);
  std::string line;
  bool heading = false;
  for (int n = 1; std::getline(in, line); ++n) {
    const std::string place = "line " + std::to_string(n);
    line = core::trimmed(line.substr(0, line.find('#')));
    if (line.empty()) continue;
    if (table.points.empty() && is_heading(line)) {
      // Of several the last that names columns counts: a title may stand over them.
      FormTable said;
      const Columns named = read_heading(line, place, file, reading, said);
      if (!heading || said.notes.empty() || said.notes.front().find("names no columns") == std::string::npos)
        columns = named, table.notes = said.notes;
      heading = true;
      continue;
    }
    Eigen::Vector2d p = read_line(line, place, file, columns) * columns.unit_mm;
    if (columns.diameters) p.x() /= 2;
    table.points.push_back(p);
    table.places.push_back(place);
    if (table.points.size() > kMaxTablePoints) throw core::InputError(file, "holds more than 100000 points");
  }
  return table;
}

}  // namespace interstice::layout
