#include "teasel/job/edit.h"

#include <algorithm>
#include <cctype>
#include <charconv>

#include "teasel/written.h"
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
  return bare(key) ? key : Toml::text(key).text();
}

constexpr std::size_t kLongestPath = 2000, kMostKeys = 12, kMostIndices = 4;  // a job file needs far less

std::optional<Path> path_of(std::string_view text) {
  if (text.size() > kLongestPath) return std::nullopt;
  Path path;
  std::size_t i = 0;
  while (i < text.size()) {
    Step step;
    if (text[i] == '"') {
      for (++i; i < text.size() && text[i] != '"'; ++i) {
        if (text[i] == '\\') ++i;
        if (i < text.size()) step.key += text[i];
      }
      if (i++ >= text.size()) return std::nullopt;
    } else {
      while (i < text.size() && text[i] != '.' && text[i] != '[') step.key += text[i++];
      if (!bare(step.key)) return std::nullopt;
    }
    while (i < text.size() && text[i] == '[') {
      std::size_t index{};
      const auto [end, error] = std::from_chars(text.data() + i + 1, text.data() + text.size(), index);
      if (error != std::errc{} || end == text.data() + text.size() || *end != ']') return std::nullopt;
      if (step.index.size() == kMostIndices) return std::nullopt;
      step.index.push_back(index);
      i = static_cast<std::size_t>(end - text.data()) + 1;
    }
    if (path.size() == kMostKeys) return std::nullopt;
    path.push_back(std::move(step));
    if (i == text.size()) return path;
    if (text[i++] != '.') return std::nullopt;
  }
  return std::nullopt;
}

/// A text, and where each of its lines begins.
class Source {
 public:
  explicit Source(std::string text) : text_(std::move(text)) {
    lines_.push_back(0);
    for (std::size_t i = 0; i < text_.size(); ++i)
      if (text_[i] == '\n') lines_.push_back(i + 1);
  }
  const std::string& text() const { return text_; }
  /// Where a position stands in the text. Its column counts characters, not bytes.
  std::size_t offset(toml::source_position position) const {
    if (position.line == 0 || position.line > lines_.size()) return text_.size();
    std::size_t i = lines_[position.line - 1];
    for (toml::source_index column = 1; column < position.column && i < text_.size(); ++column)
      for (++i; i < text_.size() && (static_cast<unsigned char>(text_[i]) & 0xC0) == 0x80;) ++i;
    return i;
  }
  std::size_t begin(const toml::node& node) const { return offset(node.source().begin); }
  std::size_t end(const toml::node& node) const { return offset(node.source().end); }
  std::size_t line_begin(std::size_t offset) const {
    const std::size_t before = text_.rfind('\n', offset == 0 ? 0 : offset - 1);
    return offset == 0 || before == text_.npos ? 0 : before + 1;
  }
  /// Behind the end of the line, or of the text.
  std::size_t line_end(std::size_t offset) const {
    const std::size_t end = text_.find('\n', offset);
    return end == text_.npos ? text_.size() : end + 1;
  }
  /// The table, or a table in it, has a head of its own such as [a.b].
  bool headed(const toml::table& table) const {
    return !table.is_inline() && begin(table) < text_.size() && text_[begin(table)] == '[';
  }

 private:
  std::string text_;
  std::vector<std::size_t> lines_;
};

bool list_of_headed(const Source& source, const toml::node& node) {
  const toml::array* list = node.as_array();
  return list && !list->empty() && (*list)[0].is_table() && source.headed(*(*list)[0].as_table());
}

/// The end of the last value in a table's own part of the text. With `all`, tables below it count as well.
std::size_t last_end(const Source& source, const toml::table& table, std::size_t from, bool all) {
  std::size_t end = from;
  for (const auto& [key, node] : table) {
    if (const toml::table* sub = node.as_table(); sub && !sub->is_inline()) {
      if (!source.headed(*sub))
        end = std::max(end, last_end(source, *sub, from, all));
      else if (all)
        end = std::max(end, last_end(source, *sub, source.end(*sub), all));
    } else if (list_of_headed(source, node)) {
      if (all)
        for (const toml::node& item : *node.as_array())
          end = std::max(end, last_end(source, *item.as_table(), source.end(item), all));
    } else {
      end = std::max(end, source.end(node));
    }
  }
  return end;
}

class Editor {
 public:
  Editor(const Source& source, const toml::table& root) : source_(source), root_(root), newline_("\n") {
    const std::size_t windows = source.text().find("\r\n");
    if (windows != std::string::npos && windows < source.text().find('\n')) newline_ = "\r\n";
  }

  std::optional<std::string> set(const Path& path, const std::string& value) {
    if (const toml::node* node = find(path)) {
      if (const toml::table* table = node->as_table(); (table && !table->is_inline()) || list_of_headed(source_, *node))
        return std::nullopt;
      return replaced(source_.begin(*node), source_.end(*node), value);
    }
    if (!path.back().index.empty()) return std::nullopt;
    // Find the deepest table that exists. Of the tables above it, `home` is the nearest that can take a new line.
    const toml::table* deepest = &root_;
    const toml::table* home = &root_;
    std::size_t depth = 0, home_depth = 0;
    for (; depth + 1 < path.size(); ++depth) {
      const toml::node* node = step(*deepest, path[depth]);
      if (!node) break;
      if (!(deepest = node->as_table())) return std::nullopt;
      if (deepest->is_inline() || own_head(*deepest, depth + 1)) {
        home = deepest;
        home_depth = depth + 1;
      }
    }
    for (std::size_t i = home_depth; i < path.size(); ++i)
      if (!path[i].index.empty()) return std::nullopt;
    if (home->is_inline()) {
      const std::size_t brace = source_.end(*home) - 1;
      std::size_t before = brace;
      while (before > 0 && std::isspace(static_cast<unsigned char>(source_.text()[before - 1]))) --before;
      return replaced(before, brace, (home->empty() ? " " : ", ") + line(path, home_depth, value) + " ");
    }
    if (home == &root_ && !reaches_by_points(path)) {
      if (path.size() == 1) return std::nullopt;
      return at_end("[" + key_text(path[0].key) + "]" + newline_ + line(path, 1, value));
    }
    const std::size_t from = home == &root_ ? 0 : source_.end(*home);
    return replaced(source_.line_end(last_end(source_, *home, from, false)), {},
                    line(path, home_depth, value) + newline_);
  }

  std::optional<std::string> remove(const Path& path) {
    const toml::node* node = find(path);
    if (!node) return std::nullopt;
    Path above = path;
    if (!above.back().index.empty()) {
      const std::size_t i = above.back().index.back();
      above.back().index.pop_back();
      const toml::array& list = *find(above)->as_array();
      if (list_of_headed(source_, list)) {
        const toml::table& table = *node->as_table();
        return cut_block(source_.line_begin(source_.begin(table)),
                         source_.line_end(last_end(source_, table, source_.end(table), true)));
      }
      if (list.size() == 1) return replaced(source_.begin(list), source_.end(list), "[]");
      return i + 1 < list.size() ? replaced(source_.begin(*node), source_.begin(list[i + 1]), "")
                                 : replaced(source_.end(list[i - 1]), source_.end(*node), "");
    }
    if (node->is_table() && !node->as_table()->is_inline()) return std::nullopt;
    above.pop_back();
    const toml::node* holder = above.empty() ? &root_ : find(above);
    if (holder->as_table()->is_inline()) return std::nullopt;
    return replaced(key_line(*node), source_.line_end(source_.end(*node)), "");
  }

  /// `entry` is `value`, read; `written` is the text in which it stands.
  std::optional<std::string> append(const Path& path, const toml::table& entry, const Source& written,
                                    const std::string& value) {
    if (const toml::node* node = find(path)) {
      const toml::array* list = node->as_array();
      if (!list) return std::nullopt;
      if (!list_of_headed(source_, *node)) {
        if (list->empty()) return replaced(source_.begin(*list), source_.end(*list), "[" + value + "]");
        return replaced(source_.end((*list)[list->size() - 1]), {}, ", " + value);
      }
      const toml::table& last = *(*list)[list->size() - 1].as_table();
      return replaced(source_.line_end(last_end(source_, last, source_.end(last), true)), {},
                      newline_ + block(path, entry, written));
    }
    return at_end(block(path, entry, written));
  }

  std::optional<std::string> insert(Path path, const toml::table& entry, const Source& written,
                                    const std::string& value) {
    const toml::node* node = find(path);
    if (path.back().index.empty()) return std::nullopt;
    path.back().index.pop_back();
    if (!node) return find(path) ? std::nullopt : append(path, entry, written, value);
    if (!node->is_table()) return std::nullopt;
    if (node->as_table()->is_inline()) return replaced(source_.begin(*node), {}, value + ", ");
    // Comments right above a head belong to it.
    std::size_t from = source_.line_begin(source_.begin(*node));
    while (from > 0) {
      const std::size_t above = source_.line_begin(from - 1);
      const std::size_t first = source_.text().find_first_not_of(" \t", above);
      if (first >= from || source_.text()[first] != '#') break;
      from = above;
    }
    return replaced(from, {}, block(path, entry, written) + newline_);
  }

 private:
  const toml::node* step(const toml::table& table, const Step& step) const {
    const toml::node* node = table.get(step.key);
    for (const std::size_t i : step.index) {
      const toml::array* list = node ? node->as_array() : nullptr;
      if (!list || i >= list->size()) return nullptr;
      node = &(*list)[i];
    }
    return node;
  }
  const toml::node* find(const Path& path) const {
    const toml::table* table = &root_;
    const toml::node* node = table;
    for (const Step& key : path) {
      if (!(table = node->as_table()) || !(node = step(*table, key))) return nullptr;
    }
    return node;
  }
  /// The head is this table's own, not that of a table below it: [a.b] alone gives table a no head.
  bool own_head(const toml::table& table, std::size_t depth) const {
    if (!source_.headed(table)) return false;
    const std::string& text = source_.text();
    std::size_t keys = 1;
    char quote = 0;
    for (std::size_t i = source_.begin(table); i < text.size() && text[i] != '\n' && (quote || text[i] != ']'); ++i) {
      const char letter = text[i];
      if (quote)
        quote = letter == quote ? 0 : quote;
      else if (letter == '"' || letter == '\'')
        quote = letter;
      else if (letter == '.')
        ++keys;
    }
    return keys == depth;
  }
  /// Lines such as  fixture.style = "x"  at the top made the first table of the path, so it can take no head.
  bool reaches_by_points(const Path& path) const {
    const toml::node* node = step(root_, path[0]);
    return path.size() > 1 && node && node->is_table() && !node->as_table()->is_inline() &&
           !source_.headed(*node->as_table());
  }
  static std::string line(const Path& path, std::size_t from, const std::string& value) {
    std::string keys;
    for (std::size_t i = from; i < path.size(); ++i) keys += (i > from ? "." : "") + key_text(path[i].key);
    return keys + " = " + value;
  }
  std::string block(const Path& path, const toml::table& entry, const Source& written) const {
    std::string out = "[[";
    for (std::size_t i = 0; i < path.size(); ++i) out += (i ? "." : "") + key_text(path[i].key);
    out += "]]" + newline_;
    // Keys stay in the order in which they were written; the table holds them by name.
    std::vector<std::pair<toml::source_position, std::string>> lines;
    for (const auto& [key, node] : entry) {
      const std::size_t from = written.begin(node);
      lines.emplace_back(node.source().begin, key_text(std::string(key.str())) + " = " +
                                                  written.text().substr(from, written.end(node) - from));
    }
    std::sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    for (const auto& [position, text] : lines) out += text + newline_;
    return out;
  }
  /// The beginning of the line that holds the key of this value.
  std::size_t key_line(const toml::node& node) const {
    const std::size_t begin = source_.begin(node);
    const std::size_t equals = source_.text().rfind('=', begin);
    return source_.line_begin(equals == std::string::npos ? begin : equals);
  }
  std::string replaced(std::size_t from, std::optional<std::size_t> to, const std::string& with) const {
    std::string text = source_.text().substr(0, from);
    // A last line without an end gets one.
    if (!to && !text.empty() && text.back() != '\n' && with.ends_with('\n')) text += newline_;
    return text + with + source_.text().substr(to.value_or(from));
  }
  std::string at_end(const std::string& lines) const {
    std::string text = source_.text();
    if (!text.empty() && text.back() != '\n') text += newline_;
    if (!text.empty()) text += newline_;
    return text + lines + (lines.ends_with('\n') ? "" : newline_);
  }
  /// Takes the empty line before the block along, where an empty line or nothing follows.
  std::string cut_block(std::size_t from, std::size_t to) const {
    const std::string& text = source_.text();
    const bool blank_after = to >= text.size() || text[to] == '\n' || text[to] == '\r';
    if (blank_after && from == 0) {
      to = line_end_of_blank(to);
    } else if (blank_after) {
      const std::size_t before = source_.line_begin(from - 1);
      if (text.find_first_not_of(" \t\r\n", before) >= from) from = before;
    }
    return replaced(from, to, "");
  }

  std::size_t line_end_of_blank(std::size_t offset) const {
    return offset < source_.text().size() ? source_.line_end(offset) : offset;
  }

  const Source& source_;
  const toml::table& root_;
  std::string newline_;
};

toml::node* step(toml::table& table, const Step& step) {
  toml::node* node = table.get(step.key);
  for (const std::size_t i : step.index) {
    toml::array* list = node ? node->as_array() : nullptr;
    if (!list || i >= list->size()) return nullptr;
    node = list->get(i);
  }
  return node;
}

/// Makes the same edit in the tables that were read, so that the new text can be compared with them.
bool apply(toml::table& root, const JobEdit& edit, const Path& path, const toml::node& value) {
  toml::table* table = &root;
  for (std::size_t i = 0; i + 1 < path.size(); ++i) {
    toml::node* node = step(*table, path[i]);
    if (!node && path[i].index.empty()) node = &table->insert_or_assign(path[i].key, toml::table{}).first->second;
    if (!node || !(table = node->as_table())) return false;
  }
  const Step& last = path.back();
  toml::array* list = nullptr;
  if (!last.index.empty()) {
    Step holder = last;
    holder.index.pop_back();
    toml::node* node = step(*table, holder);
    if (node && (!(list = node->as_array()) || last.index.back() >= list->size())) return false;
    if (!node && edit.kind != JobEdit::Kind::insert) return false;
  }
  auto put = [&](auto&& into) { value.visit([&](const auto& typed) { into(typed); }); };
  const auto where = list ? list->begin() + static_cast<std::ptrdiff_t>(last.index.back()) : toml::array::iterator{};
  switch (edit.kind) {
    case JobEdit::Kind::set:
      if (list)
        put([&](const auto& typed) { list->replace(where, typed); });
      else
        put([&](const auto& typed) { table->insert_or_assign(last.key, typed); });
      return true;
    case JobEdit::Kind::remove: {
      if (!list) return table->erase(last.key) > 0;
      list->erase(where);
      // A list of tables with heads disappears with its last table.
      if (list->empty() && last.index.size() == 1 && list->source().begin.line == 0) table->erase(last.key);
      return true;
    }
    case JobEdit::Kind::insert:
      if (list) {
        put([&](const auto& typed) { list->insert(where, typed); });
        return true;
      }
      [[fallthrough]];
    case JobEdit::Kind::append: {
      toml::node* node = step(*table, {last.key, {}});
      if (!node) node = &table->insert_or_assign(last.key, toml::array{}).first->second;
      toml::array* whole = node->as_array();
      if (!whole) return false;
      put([&](const auto& typed) { whole->push_back(typed); });
      return true;
    }
  }
  return false;
}

/// An empty list and a missing list mean the same to a job file.
void drop_empty_lists(toml::table& table) {
  std::vector<std::string> empty;
  for (auto&& [key, node] : table) {
    if (toml::array* list = node.as_array(); list && list->empty()) empty.emplace_back(key.str());
    if (toml::table* sub = node.as_table()) drop_empty_lists(*sub);
  }
  for (const auto& key : empty) table.erase(key);
}

/// The text after the edit, or nothing where the editor cannot change it in this way.
std::optional<std::string> edited(const std::string& text, const toml::table& read, const JobEdit& edit,
                                  const Path& path, const Source& written, const toml::node& value) {
  const Source source(text);
  Editor editor(source, read);
  switch (edit.kind) {
    case JobEdit::Kind::set: return editor.set(path, edit.value);
    case JobEdit::Kind::remove: return editor.remove(path);
    case JobEdit::Kind::append: return editor.append(path, *value.as_table(), written, edit.value);
    case JobEdit::Kind::insert: return editor.insert(path, *value.as_table(), written, edit.value);
  }
  return std::nullopt;
}

/// The new text, read, says what the old text and the edit mean together.
bool says_as_much(const std::string& text, const std::string& file, toml::table expected, const JobEdit& edit,
                  const Path& path, const toml::node& value) {
  if (!can_be_parsed(text)) return false;
  const toml::parse_result after = toml::parse(text, file);
  if (!after || !apply(expected, edit, path, value)) return false;
  toml::table found = after.table();
  drop_empty_lists(expected);
  drop_empty_lists(found);
  return found == expected;
}

std::optional<std::string> one_edit(const std::string& text, const std::string& file, const JobEdit& edit,
                                    Diagnostics& diagnostics) {
  const Place place{file, 0, 0, edit.path};
  const auto path = path_of(edit.path);
  if (!path) {
    diagnostics.error({.code = "edit-path",
                       .at = place,
                       .message = "a job file has no such key",
                       .found = edit.path,
                       .expected = "such as fixture.style or lock[0].class"});
    return std::nullopt;
  }
  if (!can_be_parsed(text)) {
    with_toml(text, file, diagnostics, [](TomlTable&) {});  // says what it is
    return std::nullopt;
  }
  toml::parse_result before = toml::parse(text, file);
  if (!before) {
    diagnostics.error({.code = "job-syntax",
                       .at = {file, before.error().source().begin.line, before.error().source().begin.column, {}},
                       .message = std::string(before.error().description()),
                       .remedy = "correct the TOML syntax"});
    return std::nullopt;
  }
  const Source written("v = " + (edit.kind == JobEdit::Kind::remove ? "0" : edit.value) + "\n");
  const bool sound = can_be_parsed(written.text());
  toml::parse_result wrapped = toml::parse(sound ? written.text() : std::string_view("?"));
  if (!wrapped || wrapped.table().size() != 1 ||
      ((edit.kind == JobEdit::Kind::append || edit.kind == JobEdit::Kind::insert) &&
       !wrapped.table().get("v")->is_table())) {
    diagnostics.error({.code = "edit-value",
                       .at = place,
                       .message = "this is not a value that a job file can hold",
                       .found = edit.value,
                       .expected = "a TOML value"});
    return std::nullopt;
  }
  const toml::node& value = *wrapped.table().get("v");
  std::optional<std::string> out = edited(text, before.table(), edit, *path, written, value);
  if (!out || !says_as_much(*out, file, before.table(), edit, *path, value)) {
    diagnostics.error({.code = "edit-not-possible",
                       .at = place,
                       .message = "the way in which the job file is written does not allow this change",
                       .found = edit.value,
                       .remedy = "make the change in a text editor"});
    return std::nullopt;
  }
  return out;
}
}  // namespace

std::optional<std::string> plain_path(std::string_view text) {
  const auto path = path_of(text);
  if (!path) return std::nullopt;
  std::string plain;
  for (const Step& step : *path) {
    plain += (plain.empty() ? "" : ".") + key_text(step.key);
    for (const std::size_t index : step.index) plain += "[" + std::to_string(index) + "]";
  }
  return plain;
}

std::string toml_as_json(std::string_view text) {
  if (!can_be_parsed(text)) return {};
  const toml::parse_result read = toml::parse(text);
  if (!read) return {};
  std::ostringstream json;
  json << toml::json_formatter(read.table());
  return json.str();
}

std::optional<std::string> edited_text(std::string_view given, const std::string& file,
                                       const std::vector<JobEdit>& edits, Diagnostics& diagnostics) {
  constexpr std::string_view kMark = "\xEF\xBB\xBF";
  const bool marked = given.starts_with(kMark);
  std::optional<std::string> text = std::string(given.substr(marked ? kMark.size() : 0));
  for (const JobEdit& edit : edits) {
    text = one_edit(*text, file, edit, diagnostics);
    if (!text) return std::nullopt;
  }
  return marked ? std::string(kMark) + *text : *text;
}

}  // namespace teasel
