#include "app/command_line.h"

#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdlib>

#include "app/nearest_word.h"
#include "core/errors.h"

namespace interstice::app {
namespace {

std::string path_of(const CLI::App& command) {
  const CLI::App* above = command.get_parent();
  return (above ? path_of(*above) + " " : "") + command.get_name();
}

const CLI::App* command_below(const CLI::App& app, const std::string& word) {
  for (const CLI::App* below : app.get_subcommands({})) {
    if (below->check_name(word)) return below;
  }
  return nullptr;
}

[[noreturn]] void refuse_command(const CLI::App& app, const std::string& word) {
  std::vector<std::string> names;
  for (const CLI::App* below : app.get_subcommands({})) {
    if (!below->get_group().empty()) names.push_back(below->get_name());
  }
  const auto meant = nearest_word(word, names);
  throw core::InputError("there is no command \"" + core::one_line(word, 60) + "\"" +
                         (meant ? "; did you mean " + path_of(app) + " " + *meant + "?"
                                : "; " + path_of(app) + " --help lists them"));
}

[[noreturn]] void refuse_option(const CLI::App& app, const std::string& option) {
  std::vector<std::string> names;
  for (const CLI::Option* known : app.get_options()) {
    for (const std::string& name : known->get_lnames()) names.push_back("--" + name);
  }
  const auto meant = nearest_word(option, names);
  throw core::InputError(
      path_of(app) + " has no option " + core::one_line(option, 60) +
      (meant ? "; did you mean " + *meant + "?" : "; " + path_of(app) + " --help lists them"));
}

bool takes_a_number(const CLI::Option& option) {
  return option.get_type_size() == 1 && option.get_expected_max() == 1 &&
         option.get_type_name().rfind("FLOAT", 0) == 0;
}

// "149,6" as much of the world writes it.
void make_decimal_point(std::string& value) {
  const std::size_t comma = value.find(',');
  if (comma == std::string::npos || comma == 0 || comma + 1 == value.size()) return;
  if (value.find_first_not_of("+-0123456789,") != std::string::npos ||
      value.find(',', comma + 1) != std::string::npos)
    return;
  value[comma] = '.';
}

// Calipers show millimetres, rulers centimetres.
void refuse_centimetres(const std::string& option, const std::string& value) {
  char* end = nullptr;
  const double number = std::strtod(value.c_str(), &end);
  if (option != "--check-line" || value.empty() || *end != '\0' || number < 7.5 || number > 30) return;
  throw core::InputError(fmt::format("--check-line {}: centimetres? The line is given in millimetres: {:g}",
                                     value, 10 * number));
}

// An option with its value, which may be in the word itself ("--gap=3,7") or the next one.
void understand_option(const CLI::App& command, std::vector<std::string>& words, std::size_t& i) {
  const std::size_t equals = words[i].find('=');
  const std::string name = words[i].substr(0, equals);
  const CLI::Option* option = command.get_option_no_throw(name);
  if (!option) refuse_option(command, name);
  if (option->get_type_size() == 0) return;  // a flag
  std::string value;
  if (equals != std::string::npos) {
    value = words[i].substr(equals + 1);
  } else {
    if (i + 1 >= words.size()) return;  // the parser says that something is missing
    value = words[i + 1];
  }
  if (takes_a_number(*option)) {
    make_decimal_point(value);
    refuse_centimetres(name, value);
  }
  if (equals != std::string::npos) {
    words[i] = name + "=" + value;
  } else {
    words[++i] = value;
  }
}

// What a validator says of the values: "100 to 200", "cm, in, mm".
std::string allowed_values(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  const std::size_t colon = type.find(':');
  const std::string words = colon == std::string::npos ? "" : type.substr(colon + 1);
  return words.find('[') == std::string::npos ? words : "";  // the parser's own way of writing is no help
}

std::string kind_of_value(const CLI::Option& option) {
  static const std::vector<std::pair<std::string, std::string>> kKinds{
      {"FLOAT", "NUMBER"}, {"UINT", "NUMBER"}, {"INT", "NUMBER"}, {"TEXT", "NAME"}, {"ENUM", "WORD"}};
  const std::string type = option.get_type_name(), allowed = allowed_values(option);
  if (!allowed.empty() && allowed.find_first_of("0123456789") == std::string::npos) return "WORD";
  for (const auto& [theirs, ours] : kKinds) {
    if (type.rfind(theirs, 0) == 0) return ours;
  }
  return type;
}

void add_wrapped(std::string& out, const std::string& left, const std::string& right) {
  constexpr std::size_t kLeft = 28, kAll = 100;
  std::string line = "  " + left;
  if (line.size() + 2 > kLeft) {
    out += line + "\n";
    line.clear();
  }
  line.resize(kLeft, ' ');
  std::string word;
  bool empty = true;
  for (std::size_t i = 0; i <= right.size(); ++i) {
    if (i < right.size() && right[i] != ' ') {
      word += right[i];
      continue;
    }
    if (!empty && line.size() + 1 + word.size() > kAll) {
      out += line + "\n";
      line.assign(kLeft, ' ');
      empty = true;
    }
    line += (empty ? "" : " ") + word;
    empty = false;
    word.clear();
  }
  out += line + "\n";
}

void add_option(std::string& out, const CLI::Option& option) {
  std::string left = option.get_positional() ? option.get_name(true, false) : option.get_name(false, true);
  if (left == "-h,--help") left = "--help, -h";
  const bool flag = option.get_type_size() == 0;
  if (!flag && !option.get_positional()) left += " " + kind_of_value(option);
  std::string right = option.get_description();
  const std::string allowed = flag ? "" : allowed_values(option);
  if (!allowed.empty() && right.find(allowed) == std::string::npos) right += "; " + allowed;
  if (!option.get_envname().empty()) right += "; or by the environment, " + option.get_envname();
  for (const CLI::Option* other : option.get_excludes()) right += "; not with " + other->get_name();
  for (const CLI::Option* other : option.get_needs()) right += "; with " + other->get_name();
  if (option.get_required() && !option.get_positional()) right += " (must be given)";
  add_wrapped(out, left, right);
}

void add_group(std::string& out, const std::string& title, const std::vector<const CLI::Option*>& options) {
  if (options.empty()) return;
  out += "\n" + title + ":\n";
  for (const CLI::Option* option : options) add_option(out, *option);
}

bool is_of_every_command(const CLI::Option& option) {
  static const std::vector<std::string> kCommon{"--quiet",   "--json", "--progress",
                                                "--threads", "--help", "--version"};
  for (const std::string& name : kCommon) {
    if (option.check_lname(name.substr(2))) return true;
  }
  return false;
}

std::string usage_of(const CLI::App& command, const std::string& name) {
  std::string out = "Usage: " + name;
  std::vector<std::string> needed;
  bool more = false;
  for (const CLI::Option* option : command.get_options()) {
    if (option->get_positional()) {
      std::string word = option->get_name(true, false);
      for (char& c : word) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
      if (option->get_expected_max() > 1 &&
          option->get_expected_max() >= CLI::detail::expected_max_vector_size)
        word += "...";
      out += option->get_required() ? " " + word : " [" + word + "]";
    } else if (option->get_required()) {
      needed.push_back(option->get_name(false, false) + " " + kind_of_value(*option));
    } else {
      more = true;
    }
  }
  for (const std::string& option : needed) out += " " + option;
  if (!command.get_subcommands({}).empty()) return out + " COMMAND ...\n";
  return out + (more ? " [options]\n" : "\n");
}

}  // namespace

std::vector<std::string> understood(const CLI::App& app, std::vector<std::string> words) {
  const CLI::App* command = &app;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == "--") break;
    if (words[i].rfind("--", 0) == 0) {
      understand_option(*command, words, i);
      continue;
    }
    if (words[i].size() > 1 && words[i][0] == '-') continue;  // -h, or a negative number
    if (command->get_subcommands({}).empty()) continue;       // an argument
    const CLI::App* below = command_below(*command, words[i]);
    if (!below) refuse_command(*command, words[i]);
    command = below;
  }
  return words;
}

std::string help_text(const CLI::App& command, const std::string& name) {
  std::string out =
      command.get_description() + "\n" + usage_of(command, name.empty() ? path_of(command) : name);
  std::vector<const CLI::Option*> positional, own, common;
  for (const CLI::Option* option : command.get_options()) {
    if (option->get_group().empty()) continue;
    (option->get_positional() ? positional : is_of_every_command(*option) ? common : own).push_back(option);
  }
  std::string commands;
  for (const CLI::App* below : command.get_subcommands({})) {
    if (!below->get_group().empty()) add_wrapped(commands, below->get_name(), below->get_description());
  }
  if (!commands.empty()) out += "\nCommands, in the order of the job:\n" + commands;
  add_group(out, "Given without a name", positional);
  add_group(out, "Options", own);
  add_group(out, "Options of every command", common);
  if (!command.get_footer().empty()) out += "\n" + command.get_footer() + "\n";
  return out;
}

}  // namespace interstice::app
