#include "toml_table.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <stdexcept>

namespace teasel {

namespace {
constexpr std::string_view kChanged = "rule_changes.";  // what stands before a key that another file changes
constexpr double kFarthest = 10'000;                    // mm; boards and panels are smaller

std::vector<std::string> words_of(const Option& row) {
  std::vector<std::string> words(1);
  for (const char* letter = row.words; *letter; ++letter) {
    if (*letter == '|')
      words.emplace_back();
    else
      words.back() += *letter;
  }
  return words;
}

std::string shown(const toml::node& node) {
  std::ostringstream out;
  node.visit([&](const auto& typed) {
    if constexpr (toml::is_value<decltype(typed)>)
      out << typed.get();
    else
      out << (toml::is_table<decltype(typed)> ? "a table" : "a list");
  });
  return out.str();
}
}  // namespace

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0]++;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t next = std::min({row[j] + 1, row[j - 1] + 1, diagonal + (a[i - 1] != b[j - 1])});
      diagonal = row[j];
      row[j] = next;
    }
  }
  return row[b.size()];
}

Place TomlTable::place(std::string_view key) const {
  Place place{file_, 0, 0, path_};
  if (!key.empty()) place.path += (path_.empty() ? "" : ".") + std::string(key);
  const toml::node* node = key.empty() ? nullptr : table_.get(key);
  const auto& source = node ? node->source() : table_.source();
  place.line = source.begin.line;
  place.column = source.begin.column;
  if (node && source.path && *source.path != file_) {
    place.file = *source.path;
    place.path = std::string(kChanged) + place.path;
  }
  return place;
}

const toml::node* TomlTable::take(std::string_view key) {
  asked_.emplace(key);
  return table_.get(key);
}

void TomlTable::error(std::string_view key, std::string message, std::string found, std::string expected) {
  diagnostics_.error({.code = "job-bad-value",
                      .at = place(key),
                      .message = std::move(message),
                      .found = std::move(found),
                      .expected = std::move(expected),
                      .remedy = "correct the value"});
}

std::string TomlTable::text(std::string_view key, std::string standard) {
  const toml::node* node = take(key);
  if (!node) return standard;
  if (auto value = node->value_exact<std::string>()) return *value;
  error(key, "a text is expected", shown(*node), "text in quotes");
  return standard;
}

std::string TomlTable::choice(std::string_view key, const std::vector<std::string>& allowed, std::string standard) {
  std::string value = text(key, standard);
  if (value == standard || std::find(allowed.begin(), allowed.end(), value) != allowed.end()) return value;
  std::string list;
  for (const auto& word : allowed) list += (list.empty() ? "\"" : ", \"") + word + "\"";
  error(key, "this is not one of the allowed values", value, list);
  return standard;
}

double TomlTable::number(std::string_view key, double standard, double least, double most) {
  const toml::node* node = take(key);
  if (!node) return standard;
  auto value = node->is_number() ? node->value<double>() : std::nullopt;
  if (value && *value >= least && *value <= most) return *value;
  error(key, "the number is out of range", shown(*node), short_number(least, 6) + " to " + short_number(most, 6));
  return standard;
}

int TomlTable::whole(std::string_view key, int standard, int least, int most) {
  const toml::node* node = take(key);
  if (!node) return standard;
  auto value = node->value_exact<std::int64_t>();
  if (value && *value >= least && *value <= most) return static_cast<int>(*value);
  error(key, "a whole number within the range is expected", shown(*node),
        std::to_string(least) + " to " + std::to_string(most));
  return standard;
}

const Option& TomlTable::option(std::string_view key) const {
  std::string path = path_ + (path_.empty() ? "" : ".") + std::string(key);
  // Keep-outs of a panel take the keys of keep-outs.
  if (constexpr std::string_view kPanel = "panel."; path.rfind("panel.keep_out[", 0) == 0) path.erase(0, kPanel.size());
  const Option* row = job_option(path);
  if (!row) throw std::logic_error("no row of the option table for " + path);
  return *row;
}

std::string TomlTable::choice(std::string_view key) {
  const Option& row = option(key);
  return choice(key, words_of(row), row.standard);
}

std::string TomlTable::text_or_default(std::string_view key) {
  return text(key, option(key).standard);
}

std::string TomlTable::words(std::string_view key) {
  return *option(key).words ? choice(key) : text_or_default(key);
}

std::string TomlTable::choice_or_nothing(std::string_view key) {
  return choice(key, words_of(option(key)), {});
}

double TomlTable::number(std::string_view key) {
  const Option& row = option(key);
  return number(key, std::strtod(row.standard, nullptr), row.least, row.most);
}

int TomlTable::whole(std::string_view key) {
  const Option& row = option(key);
  return whole(key, std::atoi(row.standard), static_cast<int>(row.least), static_cast<int>(row.most));
}

bool TomlTable::switched(std::string_view key) {
  const std::string_view standard = option(key).standard;
  return yes_no(key).value_or(standard == "yes" || standard == "true");
}

std::optional<bool> TomlTable::yes_no(std::string_view key) {
  const toml::node* node = take(key);
  if (!node) return std::nullopt;
  auto value = node->value_exact<bool>();
  if (!value) error(key, "true or false is expected", shown(*node), "true or false");
  return value;
}

std::optional<Mm> TomlTable::length(std::string_view key) {
  const toml::node* node = take(key);
  if (!node) return std::nullopt;
  auto value = node->value_exact<std::string>();
  auto mm = value ? parse_length(*value) : std::nullopt;
  if (!mm)
    error(key, "a length with its unit is expected", shown(*node), "such as \"0.1 mm\" or \"4 mil\"");
  else if (!(mm->v >= 0 && mm->v <= kFarthest))
    error(key, "the length is out of range", shown(*node), "0 to 10 m");
  return mm;
}

Mm TomlTable::required_length(std::string_view key) {
  if (!has(key)) {
    take(key);
    error(key, "a length is missing", "nothing", "such as \"0.1 mm\"");
    return {};
  }
  return length(key).value_or(Mm{});
}

std::optional<Newton> TomlTable::force(std::string_view key) {
  const toml::node* node = take(key);
  if (!node) return std::nullopt;
  auto value = node->value_exact<std::string>();
  auto newtons = value ? parse_force(*value) : std::nullopt;
  if (!newtons) error(key, "a force with its unit is expected", shown(*node), "such as \"1.5 N\" or \"6 oz\"");
  return newtons;
}

std::optional<Point> TomlTable::point_of(const toml::node& node, std::string_view key) {
  if (const toml::array* list = node.as_array(); list && list->size() == 2) {
    auto x = (*list)[0].value_exact<std::string>(), y = (*list)[1].value_exact<std::string>();
    auto x_mm = x ? parse_length(*x) : std::nullopt, y_mm = y ? parse_length(*y) : std::nullopt;
    if (x_mm && y_mm) {
      const Point p{x_mm->v, y_mm->v};
      if (std::abs(p.x) <= kFarthest && std::abs(p.y) <= kFarthest) return p;
      error(key, "the point is out of range", shown(node), "coordinates up to 10 m");
      return std::nullopt;
    }
  }
  error(key, "a point with the units of its coordinates is expected", shown(node), "such as [\"10 mm\", \"20 mm\"]");
  return std::nullopt;
}

std::optional<Point> TomlTable::point(std::string_view key) {
  const toml::node* node = take(key);
  return node ? point_of(*node, key) : std::nullopt;
}

std::optional<Side> TomlTable::side(std::string_view key) {
  return side_of(choice(key, {"top", "bottom"}, ""));
}

Side TomlTable::side(std::string_view key, Side standard) {
  return side_of(choice(key, {"top", "bottom"}, to_string(standard))).value_or(standard);
}

std::vector<BoardPoint> TomlTable::points(std::string_view key) {
  std::vector<BoardPoint> out;
  const toml::node* node = take(key);
  if (!node) return out;
  const toml::array* list = node->as_array();
  if (!list) error(key, "a list of points is expected", shown(*node), "[[\"0 mm\", \"0 mm\"], ...]");
  if (list)
    for (const auto& entry : *list)
      if (auto point = point_of(entry, key)) out.push_back(*point);
  return out;
}

std::vector<std::string> TomlTable::texts(std::string_view key) {
  std::vector<std::string> out;
  const toml::node* node = take(key);
  if (!node) return out;
  const toml::array* list = node->as_array();
  if (!list) error(key, "a list of texts is expected", shown(*node), "[\"...\", \"...\"]");
  if (list)
    for (const auto& entry : *list) {
      if (auto text = entry.value_exact<std::string>())
        out.push_back(*text);
      else
        error(key, "a list of texts is expected", shown(entry), "text in quotes");
    }
  return out;
}

void TomlTable::table(std::string_view key, const std::function<void(TomlTable&)>& use) {
  const toml::node* node = take(key);
  if (!node) return;
  const toml::table* found_table = node->as_table();
  if (!found_table) return error(key, "a table is expected", shown(*node), "[" + std::string(key) + "]");
  TomlTable sub(*found_table, (path_.empty() ? "" : path_ + ".") + std::string(key), file_, diagnostics_);
  use(sub);
  sub.finish();
}

void TomlTable::tables(std::string_view key, const std::function<void(TomlTable&)>& use) {
  const toml::node* node = take(key);
  if (!node) return;
  const toml::array* list = node->as_array();
  if (!list || !std::all_of(list->begin(), list->end(), [](const toml::node& entry) { return entry.is_table(); }))
    return error(key, "a list of tables is expected", shown(*node), "[[" + std::string(key) + "]]");
  std::size_t i = 0;
  for (const auto& entry : *list) {
    TomlTable sub(*entry.as_table(),
                  (path_.empty() ? "" : path_ + ".") + std::string(key) + "[" + std::to_string(++i) + "]", file_,
                  diagnostics_);
    use(sub);
    sub.finish();
  }
}

std::vector<std::string> TomlTable::leaves() {
  std::vector<std::string> out;
  const std::function<void(const toml::table&, const std::string&)> walk = [&](const toml::table& here,
                                                                               const std::string& before) {
    for (const auto& [key_here, value] : here) {
      const std::string key = before + std::string(key_here.str());
      if (&here == &table_) asked_.emplace(key_here.str());
      if (const toml::table* sub = value.as_table())
        walk(*sub, key + ".");
      else
        out.push_back(key + " = " + shown(value));
    }
  };
  walk(table_, {});
  return out;
}
void TomlTable::each(const std::function<void(const std::string&)>& use) {
  for (const auto& [key_here, value] : table_) use(std::string(key_here.str()));
}

void TomlTable::finish() {
  for (const auto& [key_here, value] : table_) {
    const std::string key(key_here.str());
    if (asked_.count(key)) continue;
    std::string nearest;
    std::size_t best = 4;
    for (const auto& asked : asked_)
      if (std::size_t edits = edit_distance(key, asked); edits < best) {
        best = edits;
        nearest = asked;
      }
    std::string all;
    for (const auto& asked : asked_) all += (all.empty() ? "" : ", ") + asked;
    diagnostics_.error({.code = "job-unknown-key",
                        .at = place(key),
                        .message = "unknown key",
                        .found = key,
                        .expected = nearest.empty() ? "one of: " + all : "perhaps " + nearest,
                        .remedy = "correct or remove the key"});
  }
}

namespace {
/// What the library does not survive: keys or values nested deeper than any job's, letters of other scripts outside
/// texts and comments.
struct Unreadable {
  std::uint32_t line = 0;  ///< 0: it can be read
  bool letter = false;
};
Unreadable unreadable_in(std::string_view text) {
  constexpr int kDeepest = 100;
  int dots = 0, open = 0;
  std::uint32_t line = 1;
  constexpr std::string_view kMark = "\xEF\xBB\xBF";
  for (std::size_t i = text.rfind(kMark, 0) == 0 ? kMark.size() : 0; i < text.size(); ++i) {
    const char letter = text[i];
    if (static_cast<unsigned char>(letter) >= 0x80) return {line, true};
    if (letter == '"' || letter == '\'') {
      const std::string_view three = text.substr(i, 3);
      const bool many = three == "\"\"\"" || three == "'''";
      const std::size_t from = i + (many ? 3 : 1);
      for (i = from; i < text.size(); ++i) {
        if (text[i] == '\\' && letter == '"') {
          // In a text of many lines a backslash joins lines: the library looks for what stands behind the white space.
          const std::size_t next = text.find_first_not_of(" \t\r\n", i + 1);
          if (next < text.size() && static_cast<unsigned char>(text[next]) >= 0x80 && (many || next == i + 1))
            return {line, true};
          ++i;
        } else if (many ? text.substr(i, 3) == three : text[i] == letter || text[i] == '\n')
          break;
        if (i < text.size() && text[i] == '\n') ++line;
      }
      if (many) i += 2;
      if (i < text.size() && text[i] == '\n') ++line;
      continue;
    }
    if (letter == '#') {
      i = std::min(text.find('\n', i), text.size()) - 1;
      continue;
    }
    if (letter == '\n') ++line;
    if (letter == '.') ++dots;
    if (letter == '\n' || letter == '=' || letter == ',') dots = 0;
    if (letter == '[' || letter == '{') ++open;
    if ((letter == ']' || letter == '}') && open > 0) --open;
    if (dots > kDeepest || open > kDeepest) return {line, false};
  }
  return {};
}
}  // namespace

bool can_be_parsed(std::string_view text) {
  return unreadable_in(text).line == 0;
}

void with_toml(std::string_view text, const std::string& file, Diagnostics& diagnostics,
               const std::function<void(TomlTable&)>& use) {
  if (text.size() > 50'000'000)
    return diagnostics.error(
        {.code = "job-too-large", .at = {file, 0, 0, {}}, .message = "the file is larger than 50 MB"});
  const Unreadable fault_at = unreadable_in(text);
  if (fault_at.letter)
    return diagnostics.error(
        {.code = "job-syntax",
         .at = {file, fault_at.line, 0, {}},
         .message = "a letter that is not ASCII stands outside of a text in quotes, or behind a backslash",
         .remedy = "put the key or the value in quotes"});
  if (fault_at.line)
    return diagnostics.error({.code = "job-too-deep",
                              .at = {file, fault_at.line, 0, {}},
                              .message = "keys or values are nested more than 100 deep",
                              .remedy = "correct the line: no key of a job is nested so deep"});
  toml::parse_result result = toml::parse(text, file);
  if (!result) {
    const auto& fault = result.error();
    return diagnostics.error({.code = "job-syntax",
                              .at = {file, fault.source().begin.line, fault.source().begin.column, {}},
                              .message = std::string(fault.description()),
                              .remedy = "correct the TOML syntax"});
  }
  TomlTable root(result.table(), {}, file, diagnostics);
  use(root);
  root.finish();
}

namespace {
/// Moves, for a copy forgets where it stood.
void merge(toml::table& into, toml::table& changes) {
  for (auto&& [key, node] : changes) {
    toml::table *sub = node.as_table(), *there = into.contains(key.str()) ? into.get(key.str())->as_table() : nullptr;
    if (sub && there)
      merge(*there, *sub);
    else
      node.visit([&, name = key.str()](auto& value) { into.insert_or_assign(name, std::move(value)); });
  }
}
}  // namespace

void with_changed_toml(std::string_view text, const std::string& file, std::string_view changes,
                       const std::string& changes_file, std::string_view change_key, Diagnostics& diagnostics,
                       const std::function<void(TomlTable&)>& use) {
  if (!can_be_parsed(text) || !can_be_parsed(changes)) return with_toml(text, file, diagnostics, use);
  toml::parse_result base = toml::parse(text, file), changing = toml::parse(changes, changes_file);
  toml::table* list =
      changing && changing.table().contains(change_key) ? changing.table().get(change_key)->as_table() : nullptr;
  if (!base || !list) return with_toml(text, file, diagnostics, use);
  merge(base.table(), *list);
  TomlTable root(base.table(), {}, file, diagnostics);
  use(root);
  root.finish();
}

}  // namespace teasel
