#include "app/command_texts.h"

#include <CLI/CLI.hpp>
#include <functional>
#include <vector>

#include "app/command_line.h"

namespace interstice::app {
namespace {

std::vector<const CLI::App*> listed_below(const CLI::App& command) {
  return command.get_subcommands([](const CLI::App* below) { return !below->get_group().empty(); });
}

std::vector<const CLI::Option*> named_options(const CLI::App& command) {
  return command.get_options(
      [](const CLI::Option* option) { return !option->get_positional() && !option->get_group().empty(); });
}

// "plan make" and the command, in the order of the job; the program itself first, with an empty path.
void visit(const CLI::App& command, const std::string& path,
           const std::function<void(const std::string& path, const CLI::App&)>& each) {
  each(path, command);
  for (const CLI::App* below : listed_below(command))
    visit(*below, path.empty() ? below->get_name() : path + " " + below->get_name(), each);
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  for (std::size_t at = 0; (at = text.find(what, at)) != std::string::npos; at += by.size())
    text.replace(at, what.size(), by);
  return text;
}

// --- manual pages ---

std::string roff(const std::string& text) {
  std::string out = replaced(replaced(text, "\\", "\\e"), "-", "\\-");
  if (!out.empty() && (out[0] == '.' || out[0] == '\'')) out = "\\&" + out;
  return out;
}

// Help as it is shown, in lines that are not filled: what a reader knows from --help.
std::string as_shown(const CLI::App& command, const std::string& name) {
  std::string out = ".nf\n", line;
  for (const char c : help_text(command, name)) {
    if (c != '\n') {
      line += c;
      continue;
    }
    out += roff(line) + "\n";
    line.clear();
  }
  return out + ".fi\n";
}

std::string title(const std::string& name) {
  std::string upper;
  for (const char c : name) upper += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return ".TH " + roff(upper) + " 1 \"\" \"interstice " INTERSTICE_VERSION "\" \"User Commands\"\n";
}

std::string ending(const std::vector<const CLI::App*>& commands) {
  std::string out =
      ".SH EXIT STATUS\n.TP\n0\nDone; every seam proved clear and nothing missing.\n.TP\n1\nMeasured, and "
      "something "
      "needs work.\n.TP\n2\nWrong command line, or an input that cannot be read; one line says which and "
      "why.\n.TP\n"
      "3\nThe photos cannot be measured; one line says what to do.\n.SH SAFETY\nResin, wood dust and lathes "
      "hurt "
      "people. Keep to the data sheets of your materials, to local rules and to your training; a scan says "
      "nothing "
      "about strength.\n.SH SEE ALSO\n.BR interstice (1)";
  for (const CLI::App* command : commands)
    out += ",\n.BR " + roff("interstice-" + command->get_name()) + " (1)";
  return out + "\n";
}

// --- completion ---

struct Word {
  std::string word, description;
};

std::vector<Word> words_after(const CLI::App& command) {
  std::vector<Word> words;
  for (const CLI::App* below : listed_below(command))
    words.push_back({below->get_name(), below->get_description()});
  for (const CLI::Option* option : named_options(command)) {
    for (const std::string& name : option->get_lnames())
      words.push_back({"--" + name, option->get_description()});
  }
  return words;
}

std::string typed(const std::string& path) {
  return path.empty() ? "interstice" : "interstice " + path;
}

// The shell's pattern of all commands: "interstice plan"|"interstice plan make"|...
std::string all_paths(const CLI::App& app) {
  std::string out;
  visit(app, "", [&](const std::string& path, const CLI::App&) {
    if (!path.empty()) out += (out.empty() ? "\"" : "|\"") + typed(path) + "\"";
  });
  return out;
}

// In single quotes of a shell.
std::string single_quoted(const std::string& text) {
  return "'" + replaced(text, "'", "'\\''") + "'";
}

}  // namespace

std::string help_page(const CLI::App& app) {
  std::string out =
      "# Help of all commands\n\nMade by the program from its commands (`interstice texts FOLDER`); a test "
      "holds it "
      "against them.\n";
  visit(app, "", [&](const std::string& path, const CLI::App& command) {
    out += "\n## " + typed(path) + "\n\n```\n" + help_text(command, typed(path)) + "```\n";
  });
  return out;
}

std::map<std::string, std::string> manual_pages(const CLI::App& app) {
  std::map<std::string, std::string> pages;
  const std::vector<const CLI::App*> commands = listed_below(app);
  pages["interstice.1"] = title("interstice") + ".SH NAME\ninterstice \\- " +
                          roff("seams of a glued-up shell, measured from photos before resin is poured") +
                          "\n.SH DESCRIPTION\n" + as_shown(app, "interstice") + ending(commands);
  for (const CLI::App* command : commands) {
    const std::string name = "interstice-" + command->get_name();
    std::string page = title(name) + ".SH NAME\n" + roff(name) + " \\- " + roff(command->get_description()) +
                       "\n.SH DESCRIPTION\n";
    visit(*command, command->get_name(), [&](const std::string& path, const CLI::App& below) {
      if (path != command->get_name()) page += ".SS " + roff(typed(path)) + "\n";
      page += as_shown(below, typed(path));
    });
    pages[name + ".1"] = page + ending({});
  }
  return pages;
}

std::string bash_completion(const CLI::App& app) {
  std::string out =
      "# Completion of interstice for bash.\n_interstice() {\n  local current=${COMP_WORDS[COMP_CWORD]} "
      "command=interstice words= i\n  for ((i = 1; i < COMP_CWORD; ++i)); do\n    case \"$command "
      "${COMP_WORDS[i]}\" "
      "in\n      " +
      all_paths(app) +
      ") command=\"$command ${COMP_WORDS[i]}\" ;;\n    esac\n  done\n  case \"$command\" in\n";
  visit(app, "", [&](const std::string& path, const CLI::App& command) {
    std::string words;
    for (const Word& word : words_after(command)) words += (words.empty() ? "" : " ") + word.word;
    out += "    \"" + typed(path) + "\") words=\"" + words + "\" ;;\n";
  });
  return out +
         "  esac\n  mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$current\")\n  if [ -z \"$current\" "
         "] || [ "
         "${#COMPREPLY[@]} -eq 0 ]; then\n    local files\n    mapfile -t files < <(compgen -f -- "
         "\"$current\")\n    "
         "COMPREPLY+=(\"${files[@]}\")\n  fi\n}\ncomplete -o filenames -F _interstice interstice\n";
}

std::string zsh_completion(const CLI::App& app) {
  std::string out =
      "#compdef interstice\n# Completion of interstice for zsh.\nlocal command=interstice word\nfor word in "
      "${words[2,CURRENT-1]}; do\n  case \"$command $word\" in\n    (" +
      all_paths(app) +
      ") command=\"$command $word\" ;;\n  esac\ndone\nlocal -a known\ncase \"$command\" in\n";
  visit(app, "", [&](const std::string& path, const CLI::App& command) {
    out += "  (\"" + typed(path) + "\") known=(";
    for (const Word& word : words_after(command))
      out += "\n    " + single_quoted(word.word + ":" + word.description);
    out += ") ;;\n";
  });
  return out + "esac\n_describe 'interstice' known\n[[ $PREFIX == -* ]] || _files\n";
}

std::string fish_completion(const CLI::App& app) {
  std::string out = "# Completion of interstice for fish.\n";
  visit(app, "", [&](const std::string& path, const CLI::App& command) {
    std::string condition, word;
    for (const char c : path + " ") {
      if (c != ' ') {
        word += c;
        continue;
      }
      if (!word.empty())
        condition += (condition.empty() ? "" : "; and ") + ("__fish_seen_subcommand_from " + word);
      word.clear();
    }
    if (path.empty()) condition = "__fish_use_subcommand";
    std::string below;
    for (const CLI::App* other : listed_below(command)) below += " " + other->get_name();
    if (!path.empty() && !below.empty()) condition += "; and not __fish_seen_subcommand_from" + below;
    for (const Word& w : words_after(command)) {
      const bool option = w.word.rfind("--", 0) == 0;
      out += "complete -c interstice -n " + single_quoted(condition) +
             (option ? " -l " + w.word.substr(2) : " -a " + w.word) + " -d " + single_quoted(w.description) +
             "\n";
    }
  });
  return out;
}

}  // namespace interstice::app
