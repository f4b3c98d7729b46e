// Reads the definitions of interfaces.
#include "teasel/job/interface_table.h"

#include <algorithm>
#include <cctype>

#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

std::string_view local_name(std::string_view name) {
  const std::size_t slash = name.rfind('/');
  if (slash == name.npos || slash + 1 == name.size()) return name;
  // "/cpu/TCK" is TCK on a sheet; "TCK/SWCLK" are two names of one net.
  const std::string_view before = name.substr(0, slash);
  auto word = [](std::string_view s) {
    return !s.empty() && s.size() <= 6 &&
           std::all_of(s.begin(), s.end(), [](unsigned char c) { return std::isalpha(c); });
  };
  const bool two_names = word(before) && word(name.substr(slash + 1));
  return two_names ? name : name.substr(slash + 1);
}

namespace {
/// 'a' for letters, 'd' for digits, 's' for signs that are parts of their own; 0 for what only separates parts.
char kind_of_letter(char letter) {
  const auto code = static_cast<unsigned char>(letter);
  if (std::isalpha(code) || letter == '*' || code >= 0x80) return 'a';
  if (std::isdigit(code)) return 'd';
  return std::string_view("+-#~!.").find(letter) != std::string_view::npos ? 's' : 0;
}
}  // namespace

std::vector<std::string> name_parts(std::string_view name) {
  name = local_name(name);
  std::vector<std::string> parts;
  char last = 0;  // the kind of the part being written
  for (const char letter : name) {
    const char kind = kind_of_letter(letter);
    if (kind == 0) {
      last = 0;
      continue;
    }
    if (kind != last || kind == 's') parts.emplace_back();
    parts.back() += static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
    last = kind;
  }
  return parts;
}

namespace {
/// "CS#" is a word that ends in any number; '*' stands for any text inside a part.
NameWord word_of(const std::string& text) {
  NameWord word = name_parts(text);
  for (std::string& part : word)
    if (part == "#") part = "#*";
  return word;
}
std::vector<NameWord> words_of(TomlTable& table, const char* key) {
  std::vector<NameWord> words;
  for (const std::string& text : table.texts(key)) {
    words.push_back(word_of(text));
    if (words.back().empty())
      table.error(key, "a word without letters and digits would fit every name", text, "such as \"TCK\"");
  }
  return words;
}

const std::vector<std::string> kRoles = {"programming", "power", "ground", "functional", "observe", "do_not_touch"};

InterfaceLine::Drive drive_named(const std::string& text) {
  if (text == "tester") return InterfaceLine::Drive::tester;
  return text == "board" ? InterfaceLine::Drive::board : InterfaceLine::Drive::both;
}

InterfaceLine read_line(TomlTable& table) {
  InterfaceLine line;
  line.name = table.text("name");
  if (line.name.empty()) table.error("name", "a line needs a name", "none", "such as \"TCK\"");
  line.words = words_of(table, "words");
  line.weak = words_of(table, "weak");
  line.globs = table.texts("globs");
  line.not_globs = table.texts("not_globs");
  line.role = role_of(table.choice("role", kRoles, ""));
  line.required = table.yes_no("required").value_or(true);
  line.many = table.yes_no("many").value_or(false);
  line.fast = table.yes_no("fast").value_or(false);
  line.above_logic = table.yes_no("above_logic").value_or(false);
  line.drive = drive_named(table.choice("driven_by", {"tester", "board", "both"}, "both"));
  return line;
}
}  // namespace

KindId InterfaceTable::kind_of(std::string_view wanted) const {
  for (const KindId kind : kinds.ids())
    if (kinds[kind].name == wanted) return kind;
  return {};
}

namespace {
InterfaceKind read_kind(TomlTable& table, const InterfaceTable& known) {
  InterfaceKind kind;
  kind.name = table.text("name");
  if (kind.name.empty() || kind.name == "none" || known.kind_of(kind.name))
    table.error("name", "a kind of interface needs a name of its own", kind.name, "one that no other kind has");
  kind.role = *role_of(table.choice("role", kRoles, "functional"));
  kind.reason = table.text("reason");
  kind.source = table.text("source");
  kind.mark = table.choice("mark", {"published", "common", "memory"}, "common");
  kind.single = table.yes_no("single").value_or(false);
  kind.pairs = table.yes_no("pairs").value_or(false);
  kind.weak_alone = table.yes_no("weak_alone").value_or(false);
  kind.context = words_of(table, "context");
  kind.not_words = words_of(table, "not");
  kind.program_words = words_of(table, "programs_with");
  kind.together = table.texts("together");
  kind.not_weak = words_of(table, "not_weak");
  kind.not_beside = table.texts("not_beside");
  kind.of_parts = table.texts("of_parts");
  kind.any_volts = table.yes_no("any_volts").value_or(false);
  if (table.has("above_volts")) kind.above_volts = table.amount<Volts>("above_volts", 60, 0, 1e6);
  table.tables("line", [&](TomlTable& line) { kind.lines.push_back(read_line(line)); });
  table.tables("connector", [&](TomlTable& connector) {
    AdapterConnector made;
    made.name = connector.text("name");
    made.source = connector.text("source");
    made.rows = connector.whole("rows", 2, 1, 2);
    made.pins = connector.texts("pins");
    for (const std::string& pin : made.pins)
      if (!pin.empty() && pin != "GND" && pin != "VREF" && pin != "RESET" &&
          std::none_of(kind.lines.begin(), kind.lines.end(),
                       [&](const InterfaceLine& line) { return line.name == pin; }))
        connector.error("pins", "a pin is no line of this kind", pin,
                        "the name of a line, GND, VREF, RESET or nothing");
    kind.connectors.push_back(std::move(made));
  });
  if (kind.lines.empty()) table.error("line", "a kind of interface needs lines", "none", "[[kind.line]]");
  if (kind.pairs && kind.lines.size() != 2)
    table.error("line", "a pair has exactly two lines", std::to_string(kind.lines.size()), "two lines");
  return kind;
}
}  // namespace

InterfaceTable read_interfaces(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  InterfaceTable interfaces;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    interfaces.name = root.text("name", file);
    root.tables("kind", [&](TomlTable& table) { interfaces.kinds.push_back(read_kind(table, interfaces)); });
    for (const InterfaceKind& kind : interfaces.kinds)
      for (const std::string& other : kind.together)
        if (!interfaces.kind_of(other))
          root.error("kind", "a kind of interface refers to a kind that is not defined", kind.name + ": " + other,
                     "the name of another kind");
    root.table("series", [&](TomlTable& table) {
      interfaces.series_most = table.amount<Ohms>("ohm_at_most", 1000, 0, 1e6);
      interfaces.series_pins = table.whole("pins_at_most", 4, 1, 1000);
    });
    root.table("rails", [&](TomlTable& table) {
      interfaces.rail_capacitors = table.whole("capacitors_to_ground", 3, 1, 1000);
      interfaces.amperes_through_one = table.amount<Amperes>("amperes_through_one_probe", 1, 0.001, 1000);
    });
    root.table("clocks", [&](TomlTable& table) {
      interfaces.ground_from_clock = table.length("ground_within").value_or(Mm{10});
    });
    root.table("score", [&](TomlTable& table) {
      for (const Role role : {Role::programming, Role::power, Role::ground, Role::functional, Role::observe})
        interfaces.weights[static_cast<std::size_t>(role)] = table.number(to_string(role), 1, 0, 1e6);
      if (std::all_of(interfaces.weights.begin(), interfaces.weights.end(), [](double weight) { return weight <= 0; }))
        table.error("functional", "the score needs at least one weight above zero", "all zero", "one of them above 0");
      interfaces.mandatory_factor = table.number("mandatory_factor", 2, 1, 1000);
    });
    root.table("wanted", [&](TomlTable& table) {
      interfaces.functional = table.whole("functional", 1, 0, 1000);
      interfaces.programming = table.whole("programming", 1, 0, 1000);
      interfaces.observe = table.whole("observe", 1, 0, 1000);
      interfaces.power = table.whole("power", 2, 0, 1000);
      interfaces.ground_other = table.whole("ground_other", 2, 0, 1000);
      interfaces.ground_most = table.whole("ground_most", 24, 0, 1000);
      interfaces.ground_least = table.whole("ground_least", 2, 0, 1000);
    });
  });
  if (interfaces.kinds.size() > 100)
    diagnostics.error({.code = "interfaces-too-many",
                       .at = {file, 0, 0, {}},
                       .message = "the file defines more than a hundred kinds of interfaces"});
  return interfaces;
}

}  // namespace teasel
