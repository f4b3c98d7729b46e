#include "toml_table.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr std::string_view kChanged = "rule_changes.";  // what stands before a key that another file changes
constexpr double kFarthest = 10'000;                    // mm; boards and panels are smaller

std::string shown(const toml::node& node) {
  std::ostringstream s;
  node.visit([&](const auto& n) {
    if constexpr (toml::is_value<decltype(n)>)
      s << n.get();
    else
      s << (toml::is_table<decltype(n)> ? "a table" : "a list");
  });
  return s.str();
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
  Place p{file_, 0, 0, path_};
  if (!key.empty()) p.path += (path_.empty() ? "" : ".") + std::string(key);
  const toml::node* node = key.empty() ? nullptr : table_.get(key);
  const auto& source = node ? node->source() : table_.source();
  p.line = source.begin.line;
  p.column = source.begin.column;
  if (node && source.path && *source.path != file_) {
    p.file = *source.path;
    p.path = std::string(kChanged) + p.path;
  }
  return p;
}

const toml::node* TomlTable::take(std::string_view key) {
  asked_.emplace(key);
  return table_.get(key);
}

void TomlTable::error(std::string_view key, std::string message, std::string found, std::string expected) {
  d_.error("job-bad-value", place(key), std::move(message), std::move(found), std::move(expected), "correct the value");
}

std::string TomlTable::text(std::string_view key, std::string standard) {
  const toml::node* n = take(key);
  if (!n) return standard;
  if (auto v = n->value_exact<std::string>()) return *v;
  error(key, "text expected", shown(*n), "text in quotes");
  return standard;
}

std::string TomlTable::choice(std::string_view key, const std::vector<std::string>& allowed, std::string standard) {
  std::string v = text(key, standard);
  if (v == standard || std::find(allowed.begin(), allowed.end(), v) != allowed.end()) return v;
  std::string list;
  for (const auto& a : allowed) list += (list.empty() ? "\"" : ", \"") + a + "\"";
  error(key, "not one of the allowed values", v, list);
  return standard;
}

double TomlTable::number(std::string_view key, double standard, double least, double most) {
  const toml::node* n = take(key);
  if (!n) return standard;
  auto v = n->is_number() ? n->value<double>() : std::nullopt;
  if (v && *v >= least && *v <= most) return *v;
  error(key, "number out of range", shown(*n), short_number(least, 6) + " to " + short_number(most, 6));
  return standard;
}

int TomlTable::whole(std::string_view key, int standard, int least, int most) {
  const toml::node* n = take(key);
  if (!n) return standard;
  auto v = n->value_exact<std::int64_t>();
  if (v && *v >= least && *v <= most) return static_cast<int>(*v);
  error(key, "whole number out of range", shown(*n), std::to_string(least) + " to " + std::to_string(most));
  return standard;
}

std::optional<bool> TomlTable::yes_no(std::string_view key) {
  const toml::node* n = take(key);
  if (!n) return std::nullopt;
  auto v = n->value_exact<bool>();
  if (!v) error(key, "true or false expected", shown(*n), "true or false");
  return v;
}

std::optional<Mm> TomlTable::length(std::string_view key) {
  const toml::node* n = take(key);
  if (!n) return std::nullopt;
  auto v = n->value_exact<std::string>();
  auto mm = v ? parse_length(*v) : std::nullopt;
  if (!mm)
    error(key, "a length with its unit is expected", shown(*n), "such as \"0.1 mm\" or \"4 mil\"");
  else if (!(mm->v >= 0 && mm->v <= kFarthest))
    error(key, "a size is out of range", shown(*n), "0 to 10 m");
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
  const toml::node* n = take(key);
  if (!n) return std::nullopt;
  auto v = n->value_exact<std::string>();
  auto f = v ? parse_force(*v) : std::nullopt;
  if (!f) error(key, "a force with its unit is expected", shown(*n), "such as \"1.5 N\" or \"6 oz\"");
  return f;
}

std::optional<Point> TomlTable::point_of(const toml::node& node, std::string_view key) {
  if (const toml::array* a = node.as_array(); a && a->size() == 2) {
    auto x = (*a)[0].value_exact<std::string>(), y = (*a)[1].value_exact<std::string>();
    auto mx = x ? parse_length(*x) : std::nullopt, my = y ? parse_length(*y) : std::nullopt;
    if (mx && my) {
      const Point p{mx->v, my->v};
      if (std::abs(p.x) <= kFarthest && std::abs(p.y) <= kFarthest) return p;
      error(key, "a point is out of range", shown(node), "within 10 m");
      return std::nullopt;
    }
  }
  error(key, "a point with units is expected", shown(node), "such as [\"10 mm\", \"20 mm\"]");
  return std::nullopt;
}

std::optional<Point> TomlTable::point(std::string_view key) {
  const toml::node* n = take(key);
  return n ? point_of(*n, key) : std::nullopt;
}

std::vector<Point> TomlTable::points(std::string_view key) {
  std::vector<Point> out;
  const toml::node* n = take(key);
  if (!n) return out;
  const toml::array* a = n->as_array();
  if (!a) error(key, "a list of points is expected", shown(*n), "[[\"0 mm\", \"0 mm\"], ...]");
  if (a)
    for (const auto& e : *a)
      if (auto p = point_of(e, key)) out.push_back(*p);
  return out;
}

std::vector<std::string> TomlTable::texts(std::string_view key) {
  std::vector<std::string> out;
  const toml::node* n = take(key);
  if (!n) return out;
  const toml::array* a = n->as_array();
  if (!a) error(key, "a list of texts is expected", shown(*n), "[\"...\", \"...\"]");
  if (a)
    for (const auto& e : *a) {
      if (auto v = e.value_exact<std::string>())
        out.push_back(*v);
      else
        error(key, "a list of texts is expected", shown(e), "text in quotes");
    }
  return out;
}

void TomlTable::table(std::string_view key, const std::function<void(TomlTable&)>& f) {
  const toml::node* n = take(key);
  if (!n) return;
  const toml::table* t = n->as_table();
  if (!t) return error(key, "a table is expected", shown(*n), "[" + std::string(key) + "]");
  TomlTable sub(*t, (path_.empty() ? "" : path_ + ".") + std::string(key), file_, d_);
  f(sub);
  sub.finish();
}

void TomlTable::tables(std::string_view key, const std::function<void(TomlTable&)>& f) {
  const toml::node* n = take(key);
  if (!n) return;
  const toml::array* a = n->as_array();
  if (!a || !std::all_of(a->begin(), a->end(), [](const toml::node& e) { return e.is_table(); }))
    return error(key, "a list of tables is expected", shown(*n), "[[" + std::string(key) + "]]");
  std::size_t i = 0;
  for (const auto& e : *a) {
    TomlTable sub(*e.as_table(),
                  (path_.empty() ? "" : path_ + ".") + std::string(key) + "[" + std::to_string(++i) + "]", file_, d_);
    f(sub);
    sub.finish();
  }
}

std::vector<std::string> TomlTable::leaves() {
  std::vector<std::string> out;
  const std::function<void(const toml::table&, const std::string&)> walk = [&](const toml::table& t,
                                                                               const std::string& before) {
    for (const auto& [k, v] : t) {
      const std::string key = before + std::string(k.str());
      if (&t == &table_) asked_.emplace(k.str());
      if (const toml::table* sub = v.as_table())
        walk(*sub, key + ".");
      else
        out.push_back(key + " = " + shown(v));
    }
  };
  walk(table_, {});
  return out;
}
void TomlTable::each(const std::function<void(const std::string&)>& f) {
  for (const auto& [k, v] : table_) f(std::string(k.str()));
}

void TomlTable::finish() {
  for (const auto& [k, v] : table_) {
    const std::string key(k.str());
    if (asked_.count(key)) continue;
    std::string nearest;
    std::size_t best = 4;
    for (const auto& a : asked_)
      if (std::size_t e = edit_distance(key, a); e < best) {
        best = e;
        nearest = a;
      }
    std::string all;
    for (const auto& a : asked_) all += (all.empty() ? "" : ", ") + a;
    d_.error("job-unknown-key", place(key), "unknown key", key,
             nearest.empty() ? "one of: " + all : "perhaps " + nearest, "correct or remove the key");
  }
}

void with_toml(std::string_view text, const std::string& file, Diagnostics& d,
               const std::function<void(TomlTable&)>& f) {
  if (text.size() > 50'000'000) return d.error("job-too-large", {file, 0, 0, {}}, "the file is larger than 50 MB");
  toml::parse_result result = toml::parse(text, file);
  if (!result) {
    const auto& e = result.error();
    return d.error("job-syntax", {file, e.source().begin.line, e.source().begin.column, {}},
                   std::string(e.description()), {}, {}, "correct the TOML syntax");
  }
  TomlTable root(result.table(), {}, file, d);
  f(root);
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
      node.visit([&, name = key.str()](auto& n) { into.insert_or_assign(name, std::move(n)); });
  }
}
}  // namespace

void with_changed_toml(std::string_view text, const std::string& file, std::string_view changes,
                       const std::string& changes_file, std::string_view change_key, Diagnostics& d,
                       const std::function<void(TomlTable&)>& f) {
  toml::parse_result base = toml::parse(text, file), changing = toml::parse(changes, changes_file);
  toml::table* list =
      changing && changing.table().contains(change_key) ? changing.table().get(change_key)->as_table() : nullptr;
  if (!base || !list) return with_toml(text, file, d, f);
  merge(base.table(), *list);
  TomlTable root(base.table(), {}, file, d);
  f(root);
  root.finish();
}

}  // namespace teasel
