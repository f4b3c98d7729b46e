#include "manual.h"

#include <CLI/CLI.hpp>

#include "teasel/version.h"
#include "topics.h"

namespace teasel::cli {

namespace {
/// Text for roff: backslashes, hyphens, and lines that would be commands.
std::string roff(const std::string& text) {
  std::string s;
  for (const char c : text) {
    if (c == '\\')
      s += "\\e";
    else if (c == '-')
      s += "\\-";
    else if ((c == '.' || c == '\'') && (s.empty() || s.back() == '\n'))
      s += std::string("\\&") + c;
    else
      s += c;
  }
  return s;
}

std::vector<const CLI::Option*> options_of(const CLI::App& app, bool positional) {
  std::vector<const CLI::Option*> out;
  for (const CLI::Option* o : app.get_options())
    if (o->get_positional() == positional) out.push_back(o);
  return out;
}

void paragraph(std::string& s, const CLI::Option& o) {
  s += ".TP\n.B " + roff(o.get_positional() ? o.get_name(true, false) : o.get_name(false, true));
  if (!o.get_positional() && o.get_items_expected_max() > 0 && !o.get_type_name().empty())
    s += " \\fI" + roff(o.get_type_name()) + "\\fR";
  s += "\n" + roff(o.get_description()) +
       (o.get_default_str().empty() ? "" : " Default: " + roff(o.get_default_str()) + ".") + "\n";
}
}  // namespace

std::string manual_page(const CLI::App& app) {
  std::string s = ".TH TEASEL 1 \"\" \"teasel " + std::string(kVersion) +
                  "\" \"User Commands\"\n.SH NAME\nteasel \\- plans bed\\-of\\-nails test fixtures for printed circuit "
                  "boards\n.SH SYNOPSIS\n";
  const auto commands = app.get_subcommands([](const CLI::App*) { return true; });
  for (const CLI::App* c : commands) {
    s += ".B teasel " + roff(c->get_name()) + "\n[\\fIoptions\\fR]";
    for (const CLI::Option* o : options_of(*c, true)) s += " \\fI" + roff(o->get_name(true, false)) + "\\fR";
    s += "\n.br\n";
  }
  s += ".SH DESCRIPTION\n" + roff(app.get_description()) + "\n.SH COMMANDS\n";
  for (const CLI::App* c : commands) {
    s += ".SS " + roff(c->get_name()) + "\n" + roff(c->get_description()) + ".\n";
    for (const bool positional : {true, false})
      for (const CLI::Option* o : options_of(*c, positional)) paragraph(s, *o);
  }
  s += ".SH TOPICS\n.B teasel manual \\fITOPIC\\fR\nreads one of these.\n";
  for (const Topic& t : topics()) s += ".TP\n.B " + roff(t.name) + "\n" + roff(t.summary) + "\n";
  s += ".SH EXIT STATUS\n.TP\n.B 0\ndone\n.TP\n.B 1\ninputs or call are wrong; nothing was written\n.TP\n.B 2\na "
       "mandatory need is unmet or a gate failed; everything was written\n.SH ENVIRONMENT\n.TP\n.B "
       "TEASEL_THREADS\nnumber of threads; results do not depend on it\n";
  s += ".SH CAUTIONS\nProbe tips are sharp, presses pinch, packs burn: see the cautions in \"teasel manual "
       "first\\-board\" and the file safety.html of a plan. Local codes and licensed practice decide.\n";
  return s;
}

std::string bash_completion(const CLI::App& app) {
  std::string names, cases;
  for (const CLI::App* c : app.get_subcommands([](const CLI::App*) { return true; })) {
    names += (names.empty() ? "" : " ") + c->get_name();
    std::string options;
    for (const CLI::Option* o : options_of(*c, false)) {
      for (const auto& l : o->get_lnames()) options += " --" + l;
      for (const auto& n : o->get_snames()) options += " -" + n;
    }
    std::string words;
    if (c->get_name() == "manual")
      for (const Topic& t : topics()) words += (words.empty() ? " words=\"" : " ") + t.name;
    cases += "    " + c->get_name() + ") options=\"" + options.substr(options.empty() ? 0 : 1) + "\"" + words +
             (words.empty() ? "" : "\"") + " ;;\n";
  }
  return "# bash completion for teasel; written by  teasel manual --completion\n_teasel() {\n  local "
         "word=\"${COMP_WORDS[COMP_CWORD]}\" options=\"\" words=\"\"\n  if [ \"$COMP_CWORD\" -eq 1 ]; then\n    "
         "mapfile -t "
         "COMPREPLY < <(compgen -W \"" +
         names + " --help --version\" -- \"$word\")\n    return\n  fi\n  case \"${COMP_WORDS[1]}\" in\n" + cases +
         "  esac\n  if [[ $word == -* ]]; then mapfile -t COMPREPLY < <(compgen -W \"$options\" -- \"$word\"); elif [ "
         "-n "
         "\"$words\" ]; then mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\"); else mapfile -t COMPREPLY < "
         "<(compgen -f -- \"$word\"); fi\n}\ncomplete -o filenames -F _teasel teasel\n";
}

}  // namespace teasel::cli
