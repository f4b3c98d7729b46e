#include "teasel/job/edit.h"

#include <algorithm>
#include <cctype>
#include <charconv>

#include "toml_table.h"

namespace teasel {

namespace {
struct Step {
  std::string key;
  std::vector<std::size_t> index;  ///< of lists, outer first
};
using Path = std::vector<Step>;

bool bare(std::string_view key) {
  return !key.empty() &&
         std::all_of(key.begin(), key.end(), [](unsigned char c) { return std::isalnum(c) || c == '_' || c == '-'; });
}
std::string key_text(const std::string& key) {
  return bare(key) ? key : toml_text(key);
}

std::optional<Path> path_of(std::string_view s) {
  Path path;
  std::size_t i = 0;
  while (i < s.size()) {
    Step step;
    if (s[i] == '"') {
      for (++i; i < s.size() && s[i] != '"'; ++i) {
        if (s[i] == '\\') ++i;
        if (i < s.size()) step.key += s[i];
      }
      if (i++ >= s.size()) return std::nullopt;
    } else {
      while (i < s.size() && s[i] != '.' && s[i] != '[') step.key += s[i++];
      if (!bare(step.key)) return std::nullopt;
    }
    while (i < s.size() && s[i] == '[') {
      std::size_t n{};
      const auto [end, error] = std::from_chars(s.data() + i + 1, s.data() + s.size(), n);
      if (error != std::errc{} || end == s.data() + s.size() || *end != ']') return std::nullopt;
      step.index.push_back(n);
      i = static_cast<std::size_t>(end - s.data()) + 1;
    }
    path.push_back(std::move(step));
    if (i == s.size()) return path;
    if (s[i++] != '.') return std::nullopt;
  }
  return std::nullopt;
}

/// One text, read, and where its lines begin.
class Source {
 public:
  explicit Source(std::string text) : text_(std::move(text)) {
    lines_.push_back(0);
    for (std::size_t i = 0; i < text_.size(); ++i)
      if (text_[i] == '\n') lines_.push_back(i + 1);
  }
  const std::string& text() const { return text_; }
  /// Columns count characters, not bytes.
  std::size_t offset(toml::source_position p) const {
    if (p.line == 0 || p.line > lines_.size()) return text_.size();
    std::size_t i = lines_[p.line - 1];
    for (toml::source_index c = 1; c < p.column && i < text_.size(); ++c)
      for (++i; i < text_.size() && (static_cast<unsigned char>(text_[i]) & 0xC0) == 0x80;) ++i;
    return i;
  }
  std::size_t begin(const toml::node& n) const { return offset(n.source().begin); }
  std::size_t end(const toml::node& n) const { return offset(n.source().end); }
  std::size_t line_begin(std::size_t at) const {
    const std::size_t n = text_.rfind('\n', at == 0 ? 0 : at - 1);
    return at == 0 || n == text_.npos ? 0 : n + 1;
  }
  /// Behind the line's end, or the text's.
  std::size_t line_end(std::size_t at) const {
    const std::size_t n = text_.find('\n', at);
    return n == text_.npos ? text_.size() : n + 1;
  }
  /// The table stands under a head of its own (or of a table in it): [a.b]
  bool headed(const toml::table& t) const {
    return !t.is_inline() && begin(t) < text_.size() && text_[begin(t)] == '[';
  }

 private:
  std::string text_;
  std::vector<std::size_t> lines_;
};

bool list_of_headed(const Source& s, const toml::node& n) {
  const toml::array* a = n.as_array();
  return a && !a->empty() && (*a)[0].is_table() && s.headed(*(*a)[0].as_table());
}

/// Where the last value ends that stands in a table's own part of the text; `all`: in tables below it too.
std::size_t last_end(const Source& s, const toml::table& t, std::size_t from, bool all) {
  std::size_t end = from;
  for (const auto& [key, node] : t) {
    if (const toml::table* sub = node.as_table(); sub && !sub->is_inline()) {
      if (!s.headed(*sub))
        end = std::max(end, last_end(s, *sub, from, all));
      else if (all)
        end = std::max(end, last_end(s, *sub, s.end(*sub), all));
    } else if (list_of_headed(s, node)) {
      if (all)
        for (const toml::node& x : *node.as_array()) end = std::max(end, last_end(s, *x.as_table(), s.end(x), all));
    } else {
      end = std::max(end, s.end(node));
    }
  }
  return end;
}

class Editor {
 public:
  Editor(const Source& source, const toml::table& root)
      : s_(source),
        root_(root),
        newline_(source.text().find("\r\n") != std::string::npos &&
                         source.text().find("\r\n") < source.text().find('\n')
                     ? "\r\n"
                     : "\n") {}

  std::optional<std::string> set(const Path& path, const std::string& value) {
    if (const toml::node* n = find(path)) {
      if (const toml::table* t = n->as_table(); (t && !t->is_inline()) || list_of_headed(s_, *n)) return std::nullopt;
      return replaced(s_.begin(*n), s_.end(*n), value);
    }
    if (!path.back().index.empty()) return std::nullopt;
    // The deepest table that is there, and of the tables above it the nearest that a new line can be written into.
    const toml::table* at = &root_;
    const toml::table* home = &root_;
    std::size_t depth = 0, home_depth = 0;
    for (; depth + 1 < path.size(); ++depth) {
      const toml::node* n = step(*at, path[depth]);
      if (!n) break;
      if (!(at = n->as_table())) return std::nullopt;
      if (at->is_inline() || own_head(*at, depth + 1)) {
        home = at;
        home_depth = depth + 1;
      }
    }
    for (std::size_t i = home_depth; i < path.size(); ++i)
      if (!path[i].index.empty()) return std::nullopt;
    if (home->is_inline()) {
      const std::size_t brace = s_.end(*home) - 1;
      std::size_t before = brace;
      while (before > 0 && std::isspace(static_cast<unsigned char>(s_.text()[before - 1]))) --before;
      return replaced(before, brace, (home->empty() ? " " : ", ") + line(path, home_depth, value) + " ");
    }
    if (home == &root_ && !reaches_by_points(path)) {
      if (path.size() == 1) return std::nullopt;
      return at_end("[" + key_text(path[0].key) + "]" + newline_ + line(path, 1, value));
    }
    const std::size_t from = home == &root_ ? 0 : s_.end(*home);
    return replaced(s_.line_end(last_end(s_, *home, from, false)), {}, line(path, home_depth, value) + newline_);
  }

  std::optional<std::string> remove(const Path& path) {
    const toml::node* n = find(path);
    if (!n) return std::nullopt;
    Path above = path;
    if (!above.back().index.empty()) {
      const std::size_t i = above.back().index.back();
      above.back().index.pop_back();
      const toml::array& list = *find(above)->as_array();
      if (list_of_headed(s_, list)) {
        const toml::table& t = *n->as_table();
        return cut_block(s_.line_begin(s_.begin(t)), s_.line_end(last_end(s_, t, s_.end(t), true)));
      }
      if (list.size() == 1) return replaced(s_.begin(list), s_.end(list), "[]");
      return i + 1 < list.size() ? replaced(s_.begin(*n), s_.begin(list[i + 1]), "")
                                 : replaced(s_.end(list[i - 1]), s_.end(*n), "");
    }
    if (n->is_table() && !n->as_table()->is_inline()) return std::nullopt;
    above.pop_back();
    const toml::node* holder = above.empty() ? &root_ : find(above);
    if (holder->as_table()->is_inline()) return std::nullopt;
    return replaced(key_line(*n), s_.line_end(s_.end(*n)), "");
  }

  /// `entry` stands in `written`.
  std::optional<std::string> append(const Path& path, const toml::table& entry, const Source& written,
                                    const std::string& value) {
    if (const toml::node* n = find(path)) {
      const toml::array* a = n->as_array();
      if (!a) return std::nullopt;
      if (!list_of_headed(s_, *n)) {
        if (a->empty()) return replaced(s_.begin(*a), s_.end(*a), "[" + value + "]");
        return replaced(s_.end((*a)[a->size() - 1]), {}, ", " + value);
      }
      const toml::table& last = *(*a)[a->size() - 1].as_table();
      return replaced(s_.line_end(last_end(s_, last, s_.end(last), true)), {}, newline_ + block(path, entry, written));
    }
    return at_end(block(path, entry, written));
  }

  std::optional<std::string> insert(Path path, const toml::table& entry, const Source& written,
                                    const std::string& value) {
    const toml::node* n = find(path);
    if (path.back().index.empty()) return std::nullopt;
    path.back().index.pop_back();
    if (!n) return find(path) ? std::nullopt : append(path, entry, written, value);
    if (n->as_table()->is_inline()) return replaced(s_.begin(*n), {}, value + ", ");
    // Comments that stand right above a head belong to it.
    std::size_t at = s_.line_begin(s_.begin(*n));
    while (at > 0) {
      const std::size_t above = s_.line_begin(at - 1), first = s_.text().find_first_not_of(" \t", above);
      if (first >= at || s_.text()[first] != '#') break;
      at = above;
    }
    return replaced(at, {}, block(path, entry, written) + newline_);
  }

 private:
  const toml::node* step(const toml::table& t, const Step& s) const {
    const toml::node* n = t.get(s.key);
    for (const std::size_t i : s.index) {
      const toml::array* a = n ? n->as_array() : nullptr;
      if (!a || i >= a->size()) return nullptr;
      n = &(*a)[i];
    }
    return n;
  }
  const toml::node* find(const Path& path) const {
    const toml::table* t = &root_;
    const toml::node* n = t;
    for (const Step& s : path) {
      if (!(t = n->as_table()) || !(n = step(*t, s))) return nullptr;
    }
    return n;
  }
  /// The head is this table's, not that of a table below: [a.b] makes a table a that has none.
  bool own_head(const toml::table& t, std::size_t depth) const {
    if (!s_.headed(t)) return false;
    std::size_t keys = 1;
    char quote = 0;
    for (std::size_t i = s_.begin(t); i < s_.text().size() && s_.text()[i] != '\n' && (quote || s_.text()[i] != ']');
         ++i) {
      const char c = s_.text()[i];
      if (quote)
        quote = c == quote ? 0 : quote;
      else if (c == '"' || c == '\'')
        quote = c;
      else if (c == '.')
        ++keys;
    }
    return keys == depth;
  }
  /// The first table of the path is made by lines such as  fixture.style = "x"  at the top: it takes no head.
  bool reaches_by_points(const Path& path) const {
    const toml::node* n = step(root_, path[0]);
    return path.size() > 1 && n && n->is_table() && !n->as_table()->is_inline() && !s_.headed(*n->as_table());
  }
  static std::string line(const Path& path, std::size_t from, const std::string& value) {
    std::string s;
    for (std::size_t i = from; i < path.size(); ++i) s += (i > from ? "." : "") + key_text(path[i].key);
    return s + " = " + value;
  }
  std::string block(const Path& path, const toml::table& entry, const Source& written) const {
    std::string s = "[[";
    for (std::size_t i = 0; i < path.size(); ++i) s += (i ? "." : "") + key_text(path[i].key);
    s += "]]" + newline_;
    // As they were written, not by name.
    std::vector<std::pair<toml::source_position, std::string>> lines;
    for (const auto& [key, node] : entry) {
      const std::size_t from = written.begin(node);
      lines.emplace_back(node.source().begin, key_text(std::string(key.str())) + " = " +
                                                  written.text().substr(from, written.end(node) - from));
    }
    std::sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    for (const auto& [at, l] : lines) s += l + newline_;
    return s;
  }
  /// Begin of the line on which the key of this value stands.
  std::size_t key_line(const toml::node& n) const {
    std::size_t i = s_.begin(n);
    const std::size_t equals = s_.text().rfind('=', i);
    return s_.line_begin(equals == std::string::npos ? i : equals);
  }
  std::string replaced(std::size_t from, std::optional<std::size_t> to, const std::string& with) const {
    std::string t = s_.text().substr(0, from);
    // A last line without an end gets one.
    if (!to && !t.empty() && t.back() != '\n' && with.ends_with('\n')) t += newline_;
    return t + with + s_.text().substr(to.value_or(from));
  }
  std::string at_end(const std::string& lines) const {
    std::string t = s_.text();
    if (!t.empty() && t.back() != '\n') t += newline_;
    if (!t.empty()) t += newline_;
    return t + lines + (lines.ends_with('\n') ? "" : newline_);
  }
  /// With the empty line before it, where another one or nothing follows.
  std::string cut_block(std::size_t from, std::size_t to) const {
    const std::string& t = s_.text();
    const bool blank_after = to >= t.size() || t[to] == '\n' || t[to] == '\r';
    if (blank_after && from == 0) {
      to = line_end_of_blank(to);
    } else if (blank_after) {
      const std::size_t before = s_.line_begin(from - 1);
      if (t.find_first_not_of(" \t\r\n", before) >= from) from = before;
    }
    return replaced(from, to, "");
  }

  std::size_t line_end_of_blank(std::size_t at) const { return at < s_.text().size() ? s_.line_end(at) : at; }

  const Source& s_;
  const toml::table& root_;
  std::string newline_;
};

toml::node* step(toml::table& t, const Step& s) {
  toml::node* n = t.get(s.key);
  for (const std::size_t i : s.index) {
    toml::array* a = n ? n->as_array() : nullptr;
    if (!a || i >= a->size()) return nullptr;
    n = a->get(i);
  }
  return n;
}

/// The same edit on what was read.
bool apply(toml::table& root, const JobEdit& edit, const Path& path, const toml::node& value) {
  toml::table* t = &root;
  for (std::size_t i = 0; i + 1 < path.size(); ++i) {
    toml::node* n = step(*t, path[i]);
    if (!n && path[i].index.empty()) n = &t->insert_or_assign(path[i].key, toml::table{}).first->second;
    if (!n || !(t = n->as_table())) return false;
  }
  const Step& last = path.back();
  toml::array* list = nullptr;
  if (!last.index.empty()) {
    Step holder = last;
    holder.index.pop_back();
    toml::node* n = step(*t, holder);
    if (n && (!(list = n->as_array()) || last.index.back() >= list->size())) return false;
    if (!n && edit.kind != JobEdit::Kind::insert) return false;
  }
  auto put = [&](auto&& into) { value.visit([&](const auto& v) { into(v); }); };
  const auto at = list ? list->begin() + static_cast<std::ptrdiff_t>(last.index.back()) : toml::array::iterator{};
  switch (edit.kind) {
    case JobEdit::Kind::set:
      if (list)
        put([&](const auto& v) { list->replace(at, v); });
      else
        put([&](const auto& v) { t->insert_or_assign(last.key, v); });
      return true;
    case JobEdit::Kind::remove: {
      if (!list) return t->erase(last.key) > 0;
      list->erase(at);
      // The last table of a list under heads takes the list with it.
      if (list->empty() && last.index.size() == 1 && list->source().begin.line == 0) t->erase(last.key);
      return true;
    }
    case JobEdit::Kind::insert:
      if (list) {
        put([&](const auto& v) { list->insert(at, v); });
        return true;
      }
      [[fallthrough]];
    case JobEdit::Kind::append: {
      toml::node* n = step(*t, {last.key, {}});
      if (!n) n = &t->insert_or_assign(last.key, toml::array{}).first->second;
      toml::array* a = n->as_array();
      if (!a) return false;
      put([&](const auto& v) { a->push_back(v); });
      return true;
    }
  }
  return false;
}

/// Lists that are empty and lists that are not there mean the same to a job file.
void drop_empty_lists(toml::table& t) {
  std::vector<std::string> empty;
  for (auto&& [key, node] : t) {
    if (toml::array* a = node.as_array(); a && a->empty()) empty.emplace_back(key.str());
    if (toml::table* sub = node.as_table()) drop_empty_lists(*sub);
  }
  for (const auto& key : empty) t.erase(key);
}

std::optional<std::string> one_edit(const std::string& text, const std::string& file, const JobEdit& edit,
                                    Diagnostics& d) {
  const Place place{file, 0, 0, edit.path};
  const auto path = path_of(edit.path);
  if (!path) {
    d.error("edit-path", place, "this is no key of a job file", edit.path, "such as fixture.style or lock[0].class");
    return std::nullopt;
  }
  toml::parse_result before = toml::parse(text, file);
  if (!before) {
    d.error("job-syntax", {file, before.error().source().begin.line, before.error().source().begin.column, {}},
            std::string(before.error().description()), {}, {}, "correct the TOML syntax");
    return std::nullopt;
  }
  const Source written("v = " + (edit.kind == JobEdit::Kind::remove ? "0" : edit.value) + "\n");
  toml::parse_result wrapped = toml::parse(written.text());
  if (!wrapped || wrapped.table().size() != 1 ||
      ((edit.kind == JobEdit::Kind::append || edit.kind == JobEdit::Kind::insert) &&
       !wrapped.table().get("v")->is_table())) {
    d.error("edit-value", place, "this is no value of a job file", edit.value, "a TOML value");
    return std::nullopt;
  }
  const toml::node& value = *wrapped.table().get("v");
  const Source source(text);
  Editor editor(source, before.table());
  std::optional<std::string> out;
  switch (edit.kind) {
    case JobEdit::Kind::set: out = editor.set(*path, edit.value); break;
    case JobEdit::Kind::remove: out = editor.remove(*path); break;
    case JobEdit::Kind::append: out = editor.append(*path, *value.as_table(), written, edit.value); break;
    case JobEdit::Kind::insert: out = editor.insert(*path, *value.as_table(), written, edit.value); break;
  }
  const auto stuck = [&] {
    d.error("edit-not-possible", place, "the job file is written in a way in which this cannot be changed", edit.value,
            {}, "change it in an editor");
  };
  if (!out) {
    stuck();
    return std::nullopt;
  }
  toml::parse_result after = toml::parse(*out, file);
  toml::table expected = before.table();
  if (!after || !apply(expected, edit, *path, value)) {
    stuck();
    return std::nullopt;
  }
  toml::table found = after.table();
  drop_empty_lists(expected);
  drop_empty_lists(found);
  if (!(found == expected)) {
    stuck();
    return std::nullopt;
  }
  return out;
}
}  // namespace

std::string toml_text(std::string_view s) {
  std::string q = "\"";
  for (const char c : s) {
    if (c == '"' || c == '\\') {
      q += '\\';
      q += c;
    } else if (c == '\n')
      q += "\\n";
    else if (c == '\t')
      q += "\\t";
    else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      static const char* hex = "0123456789ABCDEF";
      q += "\\u00";
      q += hex[static_cast<unsigned char>(c) >> 4];
      q += hex[static_cast<unsigned char>(c) & 15];
    } else
      q += c;
  }
  return q + "\"";
}

std::string toml_as_json(std::string_view text) {
  const toml::parse_result read = toml::parse(text);
  if (!read) return {};
  std::ostringstream s;
  s << toml::json_formatter(read.table());
  return s.str();
}

std::optional<std::string> edited_text(std::string_view given, const std::string& file,
                                       const std::vector<JobEdit>& edits, Diagnostics& d) {
  constexpr std::string_view kMark = "\xEF\xBB\xBF";
  const bool marked = given.starts_with(kMark);
  std::optional<std::string> text = std::string(given.substr(marked ? kMark.size() : 0));
  for (const JobEdit& e : edits) {
    text = one_edit(*text, file, e, d);
    if (!text) return std::nullopt;
  }
  return marked ? std::string(kMark) + *text : *text;
}

}  // namespace teasel
