#include "topics.h"

#include <algorithm>
#include <map>
#include <sstream>

#include "manual_texts.h"
#include "teasel/enums.h"
#include "teasel/finding_codes.h"
#include "teasel/job.h"
#include "teasel/pipeline/output_table.h"

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
  std::string made = "|";
  for (const std::string& cell : row) {
    made += ' ';
    for (const char letter : cell) made += letter == '|' ? std::string("\\|") : std::string(1, letter);
    made += " |";
  }
  return made + "\n";
}

std::string markdown_head(const Row& row) {
  std::string made = markdown(row) + "|";
  for (std::size_t i = 0; i < row.size(); ++i) made += "---|";
  return made + "\n";
}

/// The tables of a job file to which a key belongs: "board", "inputs.drill".
std::string group_of(std::string_view path) {
  const bool input = path.substr(0, 7) == "inputs.";
  const std::size_t dot = path.find('.', input ? 7 : 0);
  std::string group(path.substr(0, dot == path.npos ? 0 : dot));
  group.erase(std::remove_if(group.begin(), group.end(), [](char letter) { return letter == '[' || letter == ']'; }),
              group.end());
  return group;
}

std::string job_option_tables() {
  std::string made, group = "none yet";
  for (const Option& option : job_options()) {
    std::string its = group_of(option.path);
    if (its.empty()) its = "the file itself";
    if (its != group) {
      group = its;
      made += "\n## " + group + "\n\n" + markdown_head({"key", "type", "default", "mark", "meaning"});
    }
    made += markdown({"`" + std::string(option.path) + "`", option.type, option.standard, option.mark, option.help});
  }
  return made + "\n";
}

/// A command's files, besides those that it writes as the commands before it do.
struct WritingCommand {
  pipeline::WrittenBy id;
  const char* heading;
};
constexpr WritingCommand kCommandRows[] = {
    {pipeline::WrittenBy::audit, "Written by `teasel audit -o`, `teasel plan` and `teasel respin`"},
    {pipeline::WrittenBy::plan, "Written by `teasel plan` and `teasel respin`"},
    {pipeline::WrittenBy::respin, "Written by `teasel respin`"},
    {pipeline::WrittenBy::nets, "Written by `teasel nets -o`"},
    {pipeline::WrittenBy::bench, "Written by `teasel bench -o`"},
    {pipeline::WrittenBy::folder, "Kept with an output folder"},
};
constexpr Rows<pipeline::WrittenBy, WritingCommand> kWritingCommands{kCommandRows};

std::string output_tables() {
  std::string made;
  for (const WritingCommand& command : kWritingCommands) {
    made += std::string("\n### ") + command.heading + "\n\n" + markdown_head({"file", "for"});
    for (const pipeline::OutputRow& row : pipeline::output_table())
      if (row.by == command.id) made += markdown({"`" + std::string(row.name) + "`", row.text});
  }
  return made + "\n";
}

std::string finding_table() {
  std::string made = "\n" + markdown_head({"code", "severity", "may be accepted", "meaning", "what to do"});
  for (const FindingCode& code : finding_codes())
    made += markdown({"`" + std::string(code.code) + "`", std::string(code.severity), code.acceptable ? "yes" : "",
                      std::string(code.meaning), std::string(code.remedy)});
  return made + "\n";
}

std::string acceptable_list() {
  std::string made = "\n";
  for (const FindingCode& code : finding_codes())
    if (code.acceptable) made += "- `" + std::string(code.code) + "`\n";
  return made + "\n";
}

/// What makes the tables that pages name in a comment.
const std::map<std::string, std::string (*)()>& tables() {
  static const std::map<std::string, std::string (*)()> all = {{"job options", job_option_tables},
                                                               {"outputs", output_tables},
                                                               {"findings", finding_table},
                                                               {"findings to accept", acceptable_list}};
  return all;
}

const ManualText* find_topic(std::string_view name) {
  for (const ManualText& page : manual_texts())
    if (page.path.substr(0, page.path.size() - kSuffix.size()) == name) return &page;
  return nullptr;
}

/// Puts the program's tables between the comments that name them.
std::string with_tables(std::string_view text) {
  static const std::string begin = "<!-- table: ", after = " -->", end = "<!-- end of table -->";
  std::string made;
  bool inside = false;
  for (const std::string& line : lines_of(text)) {
    if (line == end) inside = false;
    if (!inside) made += line + "\n";
    if (line.rfind(begin, 0) != 0) continue;
    inside = true;
    const auto table = tables().find(line.substr(begin.size(), line.size() - begin.size() - after.size()));
    if (table != tables().end()) made += table->second();
  }
  return made;
}

/// Text without the signs of Markdown for links, pictures and weight. Code stays between its marks in running text.
std::string plain(const std::string& line, bool keep_code_marks = true) {
  std::string made;
  for (std::size_t i = 0; i < line.size();) {
    const bool picture = line.compare(i, 2, "![") == 0;
    const std::size_t open = i + (picture ? 1 : 0);
    const std::size_t middle = line[open] == '[' ? line.find("](", open) : line.npos;
    const std::size_t close = middle == line.npos ? line.npos : line.find(')', middle);
    if (close != line.npos && line.find(']', open) == middle) {
      const std::string text = line.substr(open + 1, middle - open - 1);
      const std::string target = line.substr(middle + 2, close - middle - 2);
      if (picture)
        made += "[picture " + target.substr(target.rfind('/') + 1) + ": " + text + "]";
      else
        made += target == text + std::string(kSuffix) ? "\"teasel manual " + text + "\"" : text;
      i = close + 1;
    } else if (line.compare(i, 2, "**") == 0) {
      i += 2;
    } else if (line[i] == '\\' && i + 1 < line.size() && line[i + 1] == '|') {
      ++i;
    } else if (line[i] == '`' && !keep_code_marks) {
      ++i;
    } else {
      made += line[i++];
    }
  }
  return made;
}

/// Whether a line begins an entry of a list: "- " or "1. ".
bool is_item(const std::string& line) {
  const bool numbered = line.size() > 2 && line[0] >= '1' && line[0] <= '9' && line.compare(1, 2, ". ") == 0;
  return numbered || line.rfind("- ", 0) == 0;
}

std::string wrapped(const std::string& text, const std::string& first, const std::string& others) {
  std::string made, line = first;
  bool empty = true;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    if (!empty && line.size() + 1 + word.size() > kColumns) {
      made += line + "\n";
      line = others;
      empty = true;
    }
    line += (empty ? "" : " ") + word;
    empty = false;
  }
  return made + line + "\n";
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
  for (const std::size_t each : width) all += each + 2;
  std::string made;
  if (all <= kColumns) {
    for (const Row& row : rows) {
      std::string line = "  ";
      for (std::size_t i = 0; i < std::min(row.size(), width.size()); ++i)
        line += row[i] + std::string(width[i] - row[i].size() + 2, ' ');
      made += line.substr(0, line.find_last_not_of(' ') + 1) + "\n";
      if (&row == &rows[0]) made += "  " + std::string(all - 4, '-') + "\n";
    }
    return made;
  }
  const Row& head = rows[0];
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const Row& row = rows[i];
    std::string text;
    for (std::size_t j = 1; j < std::min(row.size(), head.size()); ++j) {
      if (row[j].empty()) continue;
      if (head.size() > 2) text += (text.empty() ? "" : "; ") + head[j] + ": ";
      text += row[j];
    }
    made += "  " + row[0] + "\n" + wrapped(text, "      ", "      ");
  }
  return made;
}
}  // namespace

std::vector<Topic> topics() {
  std::vector<Topic> all;
  for (const ManualText& page : manual_texts()) {
    // The summary is the line after the heading and an empty line.
    const Lines lines = lines_of(page.text.substr(0, 500));
    all.push_back({std::string(page.path.substr(0, page.path.size() - kSuffix.size())),
                   lines.size() > 2 ? plain(lines[2]) : std::string()});
  }
  return all;
}

std::string topic_list() {
  std::string made = "Topics of the manual. Read one with  teasel manual TOPIC\n\n";
  for (const Topic& topic : topics()) {
    const std::string name = "  " + topic.name + std::string(topic.name.size() < 14 ? 14 - topic.name.size() : 1, ' ');
    made += wrapped(topic.summary, name, std::string(name.size(), ' '));
  }
  return made +
         "\nteasel manual --roff prints the manual page for man, teasel manual --completion a completion script.\n";
}

std::string topic_source(std::string_view name) {
  const ManualText* page = find_topic(name);
  return page ? with_tables(page->text) : std::string();
}

std::string topic_text(std::string_view name) {
  std::string made, paragraph, mark;
  std::vector<Row> table;
  const auto flush = [&] {
    if (!table.empty()) made += table_text(table);
    if (!paragraph.empty()) made += wrapped(plain(paragraph), mark, std::string(mark.size(), ' '));
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
      made += title + "\n" + std::string(title.size(), line[1] == '#' ? '-' : '=') + "\n";
    } else if (code) {
      made += line + "\n";
    } else if (line.empty()) {
      if (made.size() > 1 && made.compare(made.size() - 2, 2, "\n\n") != 0) made += "\n";
    } else {
      const std::size_t from = item ? line.find(' ') + 1 : line.find_first_not_of(' ');
      if (item) mark = line.substr(0, from);
      paragraph += (paragraph.empty() ? "" : " ") + line.substr(from);
    }
  }
  flush();
  return made;
}

std::string not_a_topic(std::string_view name) {
  std::string nearest;
  std::size_t best = 4;
  for (const Topic& topic : topics()) {
    const std::size_t off = edit_distance(name, topic.name);
    if (off < best) {
      best = off;
      nearest = topic.name;
    }
  }
  return "the manual has no topic '" + std::string(name) + "'" +
         (nearest.empty() ? "; teasel manual lists them" : "; perhaps " + nearest);
}

}  // namespace teasel::cli
