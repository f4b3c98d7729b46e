// Interface definitions.
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

std::vector<std::string> name_parts(std::string_view name) {
  name = local_name(name);
  std::vector<std::string> parts;
  char last = 0;  // the kind of the part being written
  for (const char c : name) {
    const auto u = static_cast<unsigned char>(c);
    const char kind = std::isalpha(u) || c == '*' || u >= 0x80                               ? 'a'
                      : std::isdigit(u)                                                      ? 'd'
                      : c == '+' || c == '-' || c == '#' || c == '~' || c == '!' || c == '.' ? 's'
                                                                                             : 0;
    if (kind == 0) {
      last = 0;
      continue;
    }
    if (kind != last || kind == 's') parts.emplace_back();
    parts.back() += static_cast<char>(std::toupper(u));
    last = kind;
  }
  return parts;
}

namespace {
/// "CS#" is a word that ends in any number; '*' stands for any text inside a part.
NameWord word_of(const std::string& text) {
  NameWord w = name_parts(text);
  for (std::string& p : w)
    if (p == "#") p = "#*";
  return w;
}
std::vector<NameWord> words_of(TomlTable& t, const char* key) {
  std::vector<NameWord> out;
  for (const std::string& s : t.texts(key)) {
    out.push_back(word_of(s));
    if (out.back().empty()) t.error(key, "a word without letters or digits fits everything", s, "such as \"TCK\"");
  }
  return out;
}

InterfaceLine read_line(TomlTable& t) {
  InterfaceLine l;
  l.name = t.text("name");
  if (l.name.empty()) t.error("name", "a line needs a name", "none", "such as \"TCK\"");
  l.words = words_of(t, "words");
  l.weak = words_of(t, "weak");
  l.globs = t.texts("globs");
  l.not_globs = t.texts("not_globs");
  l.role = role_of(t.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, ""));
  l.required = t.yes_no("required").value_or(true);
  l.many = t.yes_no("many").value_or(false);
  l.fast = t.yes_no("fast").value_or(false);
  const std::string drive = t.choice("driven_by", {"tester", "board", "both"}, "both");
  l.drive = drive == "tester"  ? InterfaceLine::Drive::tester
            : drive == "board" ? InterfaceLine::Drive::board
                               : InterfaceLine::Drive::both;
  return l;
}
}  // namespace

int InterfaceTable::kind_of(std::string_view wanted) const {
  for (std::size_t i = 0; i < kinds.size(); ++i)
    if (kinds[i].name == wanted) return static_cast<int>(i);
  return -1;
}

InterfaceTable read_interfaces(std::string_view text, const std::string& file, Diagnostics& d) {
  InterfaceTable r;
  with_toml(text, file, d, [&](TomlTable& root) {
    r.name = root.text("name", file);
    root.tables("kind", [&](TomlTable& t) {
      InterfaceKind k;
      k.name = t.text("name");
      if (k.name.empty() || k.name == "none" || r.kind_of(k.name) >= 0)
        t.error("name", "a kind needs a name of its own", k.name, "one that no other kind has");
      k.role = *role_of(
          t.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, "functional"));
      k.reason = t.text("reason");
      k.source = t.text("source");
      k.mark = t.choice("mark", {"published", "common", "memory"}, "common");
      k.single = t.yes_no("single").value_or(false);
      k.pairs = t.yes_no("pairs").value_or(false);
      k.weak_alone = t.yes_no("weak_alone").value_or(false);
      k.context = words_of(t, "context");
      k.not_words = words_of(t, "not");
      k.program_words = words_of(t, "programs_with");
      k.together = t.texts("together");
      k.not_weak = words_of(t, "not_weak");
      k.not_beside = t.texts("not_beside");
      k.of_parts = t.texts("of_parts");
      k.any_volts = t.yes_no("any_volts").value_or(false);
      if (t.has("above_volts")) k.above_volts = t.number("above_volts", 60, 0, 1e6);
      t.tables("line", [&](TomlTable& l) { k.lines.push_back(read_line(l)); });
      if (k.lines.empty()) t.error("line", "a kind has lines", "none", "[[kind.line]]");
      if (k.pairs && k.lines.size() != 2)
        t.error("line", "the halves of a pair are two", std::to_string(k.lines.size()), "two lines");
      r.kinds.push_back(std::move(k));
    });
    for (const InterfaceKind& k : r.kinds)
      for (const std::string& other : k.together)
        if (r.kind_of(other) < 0)
          root.error("kind", "a kind is to stand together with one that is not defined", k.name + ": " + other,
                     "the name of another kind");
    root.table("series", [&](TomlTable& t) {
      r.series_most = t.number("ohm_at_most", 1000, 0, 1e6);
      r.series_pins = t.whole("pins_at_most", 4, 1, 1000);
    });
    root.table("rails", [&](TomlTable& t) {
      r.rail_capacitors = t.whole("capacitors_to_ground", 3, 1, 1000);
      r.amperes_through_one = t.number("amperes_through_one_probe", 1, 0.001, 1000);
    });
    root.table("clocks", [&](TomlTable& t) { r.ground_from_clock_mm = t.length("ground_within").value_or(Mm{10}).v; });
    root.table("score", [&](TomlTable& t) {
      for (const Role role : {Role::programming, Role::power, Role::ground, Role::functional, Role::observe})
        r.weights[static_cast<std::size_t>(role)] = t.number(to_string(role), 1, 0, 1e6);
      if (std::all_of(r.weights.begin(), r.weights.end(), [](double w) { return w <= 0; }))
        t.error("functional", "a score needs a weight above zero", "all zero", "one of them above 0");
      r.mandatory_factor = t.number("mandatory_factor", 2, 1, 1000);
    });
    root.table("wanted", [&](TomlTable& t) {
      r.functional = t.whole("functional", 1, 0, 1000);
      r.programming = t.whole("programming", 1, 0, 1000);
      r.observe = t.whole("observe", 1, 0, 1000);
      r.power = t.whole("power", 2, 0, 1000);
      r.ground_other = t.whole("ground_other", 2, 0, 1000);
      r.ground_most = t.whole("ground_most", 24, 0, 1000);
      r.ground_least = t.whole("ground_least", 2, 0, 1000);
    });
  });
  if (r.kinds.size() > 100) d.error("interfaces-too-many", {file, 0, 0, {}}, "more than a hundred kinds of interfaces");
  return r;
}

}  // namespace teasel
