#include "topics.h"

#include <algorithm>
#include <map>
#include <sstream>

#include "manual_texts.h"
#include "teasel/job.h"

namespace teasel::cli {

namespace {
constexpr std::size_t kColumns = 100;
constexpr std::string_view kSuffix = ".md";

using Row = std::vector<std::string>;
using Lines = std::vector<std::string>;

Lines lines_of(std::string_view text) {
  Lines lines;
  std::istringstream in{std::string(text)};
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// A row of a Markdown table. A bar inside a cell would end it.
std::string markdown(const Row& row) {
  std::string s = "|";
  for (const std::string& cell : row) {
    s += ' ';
    for (const char c : cell) s += c == '|' ? std::string("\\|") : std::string(1, c);
    s += " |";
  }
  return s + "\n";
}

std::string markdown_head(const Row& row) {
  std::string s = markdown(row) + "|";
  for (std::size_t i = 0; i < row.size(); ++i) s += "---|";
  return s + "\n";
}

/// The tables of a job file to which a key belongs: "board", "inputs.drill".
std::string group_of(std::string_view path) {
  const bool input = path.substr(0, 7) == "inputs.";
  const std::size_t dot = path.find('.', input ? 7 : 0);
  std::string group(path.substr(0, dot == path.npos ? 0 : dot));
  group.erase(std::remove_if(group.begin(), group.end(), [](char c) { return c == '[' || c == ']'; }), group.end());
  return group;
}

std::string job_option_tables() {
  std::string s, group = "none yet";
  for (const Option& o : job_options()) {
    std::string its = group_of(o.path);
    if (its.empty()) its = "the file itself";
    if (its != group) {
      group = its;
      s += "\n## " + group + "\n\n" + markdown_head({"key", "type", "default", "mark", "meaning"});
    }
    s += markdown({"`" + std::string(o.path) + "`", o.type, o.standard, o.mark, o.help});
  }
  return s + "\n";
}

/// What makes the tables that pages name in a comment.
const std::map<std::string, std::string (*)()>& tables() {
  static const std::map<std::string, std::string (*)()> all = {{"job options", job_option_tables}};
  return all;
}

const ManualText* find_topic(std::string_view name) {
  for (const ManualText& t : manual_texts())
    if (t.path.substr(0, t.path.size() - kSuffix.size()) == name) return &t;
  return nullptr;
}

/// Puts the program's tables between the comments that name them.
std::string with_tables(std::string_view text) {
  static const std::string begin = "<!-- table: ", after = " -->", end = "<!-- end of table -->";
  std::string s;
  bool inside = false;
  for (const std::string& line : lines_of(text)) {
    if (line == end) inside = false;
    if (!inside) s += line + "\n";
    if (line.rfind(begin, 0) != 0) continue;
    inside = true;
    const auto table = tables().find(line.substr(begin.size(), line.size() - begin.size() - after.size()));
    if (table != tables().end()) s += table->second();
  }
  return s;
}

/// Text without the signs of Markdown for links, pictures and weight. Code stays between its marks in running text.
std::string plain(const std::string& line, bool keep_code_marks = true) {
  std::string s;
  for (std::size_t i = 0; i < line.size();) {
    const bool picture = line.compare(i, 2, "![") == 0;
    const std::size_t open = i + (picture ? 1 : 0);
    const std::size_t middle = line[open] == '[' ? line.find("](", open) : line.npos;
    const std::size_t close = middle == line.npos ? line.npos : line.find(')', middle);
    if (close != line.npos && line.find(']', open) == middle) {
      const std::string text = line.substr(open + 1, middle - open - 1);
      const std::string target = line.substr(middle + 2, close - middle - 2);
      if (picture)
        s += "[picture " + target.substr(target.rfind('/') + 1) + ": " + text + "]";
      else
        s += target == text + std::string(kSuffix) ? "\"teasel manual " + text + "\"" : text;
      i = close + 1;
    } else if (line.compare(i, 2, "**") == 0) {
      i += 2;
    } else if (line[i] == '\\' && i + 1 < line.size() && line[i + 1] == '|') {
      ++i;
    } else if (line[i] == '`' && !keep_code_marks) {
      ++i;
    } else {
      s += line[i++];
    }
  }
  return s;
}

/// Whether a line begins an entry of a list: "- " or "1. ".
bool is_item(const std::string& line) {
  const bool numbered = line.size() > 2 && line[0] >= '1' && line[0] <= '9' && line.compare(1, 2, ". ") == 0;
  return numbered || line.rfind("- ", 0) == 0;
}

std::string wrapped(const std::string& text, const std::string& first, const std::string& others) {
  std::string s, line = first;
  bool empty = true;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    if (!empty && line.size() + 1 + word.size() > kColumns) {
      s += line + "\n";
      line = others;
      empty = true;
    }
    line += (empty ? "" : " ") + word;
    empty = false;
  }
  return s + line + "\n";
}

Row cells_of(const std::string& line) {
  Row row;
  std::string cell;
  for (std::size_t i = 1; i < line.size(); ++i) {
    if (line[i] == '|' && line[i - 1] != '\\') {
      const std::size_t from = cell.find_first_not_of(' '), to = cell.find_last_not_of(' ');
      row.push_back(from == cell.npos ? std::string() : plain(cell.substr(from, to - from + 1), false));
      cell.clear();
    } else {
      cell += line[i];
    }
  }
  return row;
}

/// A table in columns where it is narrow enough, else a paragraph for each row.
std::string table_text(const std::vector<Row>& rows) {
  std::vector<std::size_t> width(rows[0].size());
  for (const Row& row : rows)
    for (std::size_t i = 0; i < std::min(row.size(), width.size()); ++i) width[i] = std::max(width[i], row[i].size());
  std::size_t all = 2;
  for (const std::size_t w : width) all += w + 2;
  std::string s;
  if (all <= kColumns) {
    for (const Row& row : rows) {
      std::string line = "  ";
      for (std::size_t i = 0; i < std::min(row.size(), width.size()); ++i)
        line += row[i] + std::string(width[i] - row[i].size() + 2, ' ');
      s += line.substr(0, line.find_last_not_of(' ') + 1) + "\n";
      if (&row == &rows[0]) s += "  " + std::string(all - 4, '-') + "\n";
    }
    return s;
  }
  const Row& head = rows[0];
  for (std::size_t r = 1; r < rows.size(); ++r) {
    std::string text;
    for (std::size_t i = 1; i < std::min(rows[r].size(), head.size()); ++i) {
      if (rows[r][i].empty()) continue;
      if (head.size() > 2) text += (text.empty() ? "" : "; ") + head[i] + ": ";
      text += rows[r][i];
    }
    s += "  " + rows[r][0] + "\n" + wrapped(text, "      ", "      ");
  }
  return s;
}
}  // namespace

std::vector<Topic> topics() {
  std::vector<Topic> all;
  for (const ManualText& t : manual_texts()) {
    // The summary is the line after the heading and an empty line.
    const Lines lines = lines_of(t.text.substr(0, 500));
    all.push_back({std::string(t.path.substr(0, t.path.size() - kSuffix.size())),
                   lines.size() > 2 ? plain(lines[2]) : std::string()});
  }
  return all;
}

std::string topic_list() {
  std::string s = "Topics of the manual. Read one with  teasel manual TOPIC\n\n";
  for (const Topic& t : topics()) {
    const std::string name = "  " + t.name + std::string(t.name.size() < 14 ? 14 - t.name.size() : 1, ' ');
    s += wrapped(t.summary, name, std::string(name.size(), ' '));
  }
  return s + "\nteasel manual --roff prints the manual page for man, teasel manual --completion a completion script.\n";
}

std::string topic_source(std::string_view name) {
  const ManualText* t = find_topic(name);
  return t ? with_tables(t->text) : std::string();
}

std::string topic_text(std::string_view name) {
  std::string s, paragraph, mark;
  std::vector<Row> table;
  const auto flush = [&] {
    if (!table.empty()) s += table_text(table);
    if (!paragraph.empty()) s += wrapped(plain(paragraph), mark, std::string(mark.size(), ' '));
    table.clear();
    paragraph.clear();
    mark.clear();
  };
  for (const std::string& line : lines_of(topic_source(name))) {
    if (line.rfind("<!--", 0) == 0) continue;
    if (line.rfind('|', 0) == 0) {
      if (line.rfind("|---", 0) != 0) table.push_back(cells_of(line));
      continue;
    }
    const bool item = is_item(line);
    const bool code = line.rfind("    ", 0) == 0;
    if (line.empty() || item || code || line[0] == '#') flush();
    if (line[0] == '#') {
      const std::string title = plain(line.substr(line.find(' ') + 1));
      s += title + "\n" + std::string(title.size(), line[1] == '#' ? '-' : '=') + "\n";
    } else if (code) {
      s += line + "\n";
    } else if (line.empty()) {
      if (s.size() > 1 && s.compare(s.size() - 2, 2, "\n\n") != 0) s += "\n";
    } else {
      const std::size_t from = item ? line.find(' ') + 1 : line.find_first_not_of(' ');
      if (item) mark = line.substr(0, from);
      paragraph += (paragraph.empty() ? "" : " ") + line.substr(from);
    }
  }
  flush();
  return s;
}

std::string not_a_topic(std::string_view name) {
  std::string nearest;
  std::size_t best = 4;
  for (const Topic& t : topics()) {
    const std::size_t off = edit_distance(name, t.name);
    if (off < best) {
      best = off;
      nearest = t.name;
    }
  }
  return "the manual has no topic '" + std::string(name) + "'" +
         (nearest.empty() ? "; teasel manual lists them" : "; perhaps " + nearest);
}

}  // namespace teasel::cli
