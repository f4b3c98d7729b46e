#include "manual.h"

#include <CLI/CLI.hpp>

#include "teasel/version.h"
#include "topics.h"

namespace teasel::cli {

namespace {
/// The text with roff's own signs escaped: backslashes, hyphens, and what would make a line a command.
std::string roff(const std::string& text) {
  std::string escaped;
  for (const char letter : text) {
    const bool begins_line = escaped.empty() || escaped.back() == '\n';
    if (letter == '\\')
      escaped += "\\e";
    else if (letter == '-')
      escaped += "\\-";
    else if ((letter == '.' || letter == '\'') && begins_line)
      escaped += std::string("\\&") + letter;
    else
      escaped += letter;
  }
  return escaped;
}

std::vector<const CLI::Option*> options_of(const CLI::App& app, bool positional) {
  std::vector<const CLI::Option*> list;
  for (const CLI::Option* option : app.get_options())
    if (option->get_positional() == positional) list.push_back(option);
  return list;
}

void paragraph(std::string& page, const CLI::Option& option) {
  const bool positional = option.get_positional();
  page += ".TP\n.B " + roff(positional ? option.get_name(true, false) : option.get_name(false, true));
  if (!positional && option.get_items_expected_max() > 0 && !option.get_type_name().empty())
    page += " \\fI" + roff(option.get_type_name()) + "\\fR";
  const std::string standard = option.get_default_str();
  page += "\n" + roff(option.get_description()) + (standard.empty() ? "" : " Default: " + roff(standard) + ".") + "\n";
}
}  // namespace

std::string manual_page(const CLI::App& app) {
  std::string page =
      ".TH TEASEL 1 \"\" \"teasel " + std::string(kVersion) +
      "\" \"User Commands\"\n.SH NAME\nteasel \\- plans bed\\-of\\-nails test fixtures for printed circuit "
      "boards\n.SH SYNOPSIS\n";
  const auto commands = app.get_subcommands([](const CLI::App*) { return true; });
  for (const CLI::App* command : commands) {
    page += ".B teasel " + roff(command->get_name()) + "\n[\\fIoptions\\fR]";
    for (const CLI::Option* option : options_of(*command, true))
      page += " \\fI" + roff(option->get_name(true, false)) + "\\fR";
    page += "\n.br\n";
  }
  page += ".SH DESCRIPTION\n" + roff(app.get_description()) + "\n.SH COMMANDS\n";
  for (const CLI::App* command : commands) {
    page += ".SS " + roff(command->get_name()) + "\n" + roff(command->get_description()) + ".\n";
    for (const bool positional : {true, false})
      for (const CLI::Option* option : options_of(*command, positional)) paragraph(page, *option);
  }
  page += ".SH TOPICS\n.B teasel manual \\fITOPIC\\fR\nreads one of these pages.\n";
  for (const Topic& topic : topics()) page += ".TP\n.B " + roff(topic.name) + "\n" + roff(topic.summary) + "\n";
  page +=
      ".SH EXIT STATUS\n.TP\n.B 0\ndone\n.TP\n.B 1\nthe inputs or the call are wrong, and nothing was written\n.TP\n.B "
      "2\na "
      "mandatory need is unmet or a gate failed, and everything was written\n.SH ENVIRONMENT\n.TP\n.B "
      "TEASEL_THREADS\nnumber of threads. Results do not depend on it.\n";
  page +=
      ".SH CAUTIONS\nProbe tips are sharp, presses can crush fingers, and battery packs can burn. Read the cautions in "
      "\"teasel manual first\\-board\" and the file safety.html of a plan. Local codes and licensed practice decide.\n";
  return page;
}

std::string bash_completion(const CLI::App& app) {
  std::string names, cases;
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    names += (names.empty() ? "" : " ") + command->get_name();
    std::string options;
    for (const CLI::Option* option : options_of(*command, false)) {
      for (const auto& name : option->get_lnames()) options += " --" + name;
      for (const auto& name : option->get_snames()) options += " -" + name;
    }
    std::string words;
    if (command->get_name() == "manual")
      for (const Topic& topic : topics()) words += (words.empty() ? " words=\"" : " ") + topic.name;
    cases += "    " + command->get_name() + ") options=\"" + options.substr(options.empty() ? 0 : 1) + "\"" + words +
             (words.empty() ? "" : "\"") + " ;;\n";
  }
  return "# bash completion for teasel; written by  teasel manual --completion\n_teasel() {\n  local "
         "word=\"${COMP_WORDS[COMP_CWORD]}\" options=\"\" words=\"\"\n  if [ \"$COMP_CWORD\" -eq 1 ]; then\n    "
         "mapfile -t "
         "COMPREPLY < <(compgen -W \"" +
         names + " --help --version\" -- \"$word\")\n    return\n  fi\n  case \"${COMP_WORDS[1]}\" in\n" + cases +
         "  esac\n  if [[ $word == -* ]]; then mapfile -t COMPREPLY < <(compgen -W \"$options\" -- \"$word\"); elif [ "
         "-n "
         "\"$words\" ]; then mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\"); fi\n}\n"
         "# Names of files, which may hold any letter, are left to the shell itself.\n"
         "complete -o bashdefault -o default -F _teasel teasel\n";
}

}  // namespace teasel::cli
