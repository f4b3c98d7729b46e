#include "teasel/formats/workbook.h"

#include <algorithm>
#include <charconv>
#include <map>
#include <optional>

#include "teasel/formats/archive.h"
#include "teasel/utf8.h"
#include "text.h"
#include "xml.h"
#include "zip.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kLargestPart = 30'000'000;                         // of XML; large tables have five
constexpr std::size_t kLargestSum = 100'000'000, kMostTags = 3'000'000;  // of all parts
constexpr std::size_t kLargestText = 30'000'000;                         // of all sheets
constexpr std::size_t kMostSheets = 50;
constexpr std::size_t kMostColumns = 1000;    // what stands further out belongs to no table that is read
constexpr std::size_t kMostRows = 1'048'576;  // ECMA-376 part 1, 18.3.1.73

/// "_x000D_" stands for a character that XML cannot hold (ECMA-376 part 1, 22.9.2.19).
std::string unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    unsigned code{};
    if (text[i] == '_' && i + 7 <= text.size() && text[i + 1] == 'x' && text[i + 6] == '_') {
      const auto [end, error] = std::from_chars(text.data() + i + 2, text.data() + i + 6, code, 16);
      if (error == std::errc{} && end == text.data() + i + 6 && (code < 0xD800 || code > 0xDFFF)) {
        put_utf8(out, code);
        i += 6;
        continue;
      }
    }
    out += text[i];
  }
  return out;
}

/// The text of a string item: plain, or in runs of different looks. How it is pronounced does not count.
std::string string_item(const tinyxml2::XMLElement& item) {
  std::string text;
  for (const auto& part : children(item)) {
    if (local(part) == "t" && part.GetText()) text += part.GetText();
    if (local(part) == "r")
      if (const auto* run = child(part, "t"); run && run->GetText()) text += run->GetText();
  }
  return unescaped(text);
}

/// Programs store 0.1 as 0.10000000000000001: the shortest number that is the same. Digits alone stay as they are.
std::string number_text(std::string_view stored) {
  double value{};
  if (stored.find_first_not_of("0123456789") == stored.npos || !number(stored, value)) return std::string(stored);
  char text[400];
  const auto end = std::to_chars(std::begin(text), std::end(text), value, std::chars_format::fixed).ptr;
  return std::string(std::begin(text), end);
}

/// "AB12" is column 27, counted from 0; nothing if the reference is none.
std::optional<std::size_t> column_of(std::string_view reference) {
  std::size_t column = 0, letters = 0;
  for (; letters < reference.size() && reference[letters] >= 'A' && reference[letters] <= 'Z' && letters < 4; ++letters)
    column = column * 26 + static_cast<std::size_t>(reference[letters] - 'A') + 1;
  if (column == 0) return std::nullopt;
  return column - 1;
}

class WorkbookReader {
 public:
  WorkbookReader(const Zip& zip, const std::string& name, Diagnostics& diagnostics)
      : zip_(zip), name_(name), diagnostics_(diagnostics) {}
  std::vector<Sheet> run();

 private:
  struct Relation {
    std::string type, target;  ///< type: its last word; target: a path inside the zip
  };
  bool part(const std::string& path, tinyxml2::XMLDocument& document);
  std::map<std::string, Relation> relations(const std::string& part_path);
  void shared_strings(const std::string& path);
  std::string cell_text(const tinyxml2::XMLElement& cell) const;
  bool sheet_text(const tinyxml2::XMLElement& rows, std::string& text);
  bool add_row(const tinyxml2::XMLElement& row, std::string& text);
  void too_large(const std::string& what, const std::string& found) {
    diagnostics_.error({.code = "workbook-too-large",
                        .at = {name_, 0, 0, {}},
                        .message = "the workbook is too large",
                        .found = what + ": " + found,
                        .remedy = "save the sheet with the table as CSV"});
  }
  void damaged(const std::string& found) {
    diagnostics_.error({.code = "workbook-unreadable",
                        .at = {name_, 0, 0, {}},
                        .message = "the workbook cannot be read",
                        .found = found,
                        .remedy = "save it again, or save the sheet with the table as CSV"});
  }

  const Zip& zip_;
  const std::string& name_;
  Diagnostics& diagnostics_;
  std::vector<std::string> strings_;
  std::size_t letters_ = 0;          ///< of all sheets so far
  std::size_t read_ = 0, tags_ = 0;  ///< of all parts so far
};

/// Reads one part as XML; false, with an error, if that cannot be done.
bool WorkbookReader::part(const std::string& path, tinyxml2::XMLDocument& document) {
  const Zip::Entry* entry = zip_.find(path);
  std::string why = "missing";
  if (entry && (entry->size > kLargestPart || is_bomb(*entry))) {
    too_large(path, std::to_string(entry->size / 1'000'000) + " MB");
    return false;
  }
  const std::optional<std::string> bytes = entry ? zip_.read(*entry, kLargestPart, why) : std::nullopt;
  if (!bytes) {
    damaged(path + ": " + why);
    return false;
  }
  read_ += bytes->size();
  tags_ += static_cast<std::size_t>(std::count(bytes->begin(), bytes->end(), '<'));
  if (read_ > kLargestSum || tags_ > kMostTags) {
    too_large(path, "with it more than 100 MB or 3 million tags");
    return false;
  }
  return parse_xml(document, *bytes, name_ + "/" + path, diagnostics_);
}

/// What a part refers to, by the id under which it does. Paths count from the part's folder, or from the root.
std::map<std::string, WorkbookReader::Relation> WorkbookReader::relations(const std::string& part_path) {
  std::map<std::string, Relation> found;
  const std::size_t slash = part_path.rfind('/') + 1;  // npos + 1 is 0
  const std::string folder = part_path.substr(0, slash);
  tinyxml2::XMLDocument document;
  if (!part(folder + "_rels/" + part_path.substr(slash) + ".rels", document)) return found;
  for (const auto& relation : children(*document.RootElement())) {
    const std::string_view type = attribute(relation, "Type"), target = attribute(relation, "Target");
    found[std::string(attribute(relation, "Id"))] = {
        std::string(type.substr(type.rfind('/') + 1)),
        target.starts_with('/') ? std::string(target.substr(1)) : folder + std::string(target)};
  }
  return found;
}

void WorkbookReader::shared_strings(const std::string& path) {
  tinyxml2::XMLDocument document;
  if (!part(path, document)) return;
  for (const auto& item : children(*document.RootElement()))
    if (local(item) == "si") strings_.push_back(string_item(item));
}

std::string WorkbookReader::cell_text(const tinyxml2::XMLElement& cell) const {
  const std::string_view type = attribute(cell, "t");
  if (type == "inlineStr") {
    const auto* item = child(cell, "is");
    return item ? string_item(*item) : std::string();
  }
  const auto* stored = child(cell, "v");
  if (!stored || !stored->GetText()) return {};
  const std::string_view value = stored->GetText();
  if (type == "s") {
    double index{};
    const bool known = number(value, index) && index >= 0 && index < static_cast<double>(strings_.size());
    return known ? strings_[static_cast<std::size_t>(index)] : std::string();
  }
  if (type == "b") return value == "1" ? "TRUE" : "FALSE";
  if (type == "str") return unescaped(value);
  return type.empty() || type == "n" ? number_text(value) : std::string(value);
}

bool WorkbookReader::add_row(const tinyxml2::XMLElement& row, std::string& text) {
  std::size_t column = 0, written = 0;
  for (const auto& cell : children(row)) {
    if (local(cell) != "c") continue;
    column = column_of(attribute(cell, "r")).value_or(column);
    const std::string value = cell_text(cell);
    if (column >= written && column < kMostColumns && !value.empty()) {
      text.append(column - written, '\t');
      written = column;
      text += '"';
      for (const char letter : value) {
        if (letter == '"') text += '"';
        text += static_cast<unsigned char>(letter) < 0x20 ? ' ' : letter;
      }
      text += '"';
    }
    ++column;
    if (letters_ + text.size() > kLargestText) return false;
  }
  return true;
}

bool WorkbookReader::sheet_text(const tinyxml2::XMLElement& rows, std::string& text) {
  std::size_t line = 1;
  for (const auto& row : children(rows)) {
    if (local(row) != "row") continue;
    double number_of_row{};
    if (number(attribute(row, "r"), number_of_row) && number_of_row > static_cast<double>(line) &&
        number_of_row <= static_cast<double>(kMostRows)) {
      text.append(static_cast<std::size_t>(number_of_row) - line, '\n');
      line = static_cast<std::size_t>(number_of_row);
    }
    if (!add_row(row, text)) return false;
    text += '\n';
    ++line;
  }
  letters_ += text.size();
  return letters_ <= kLargestText;
}

std::vector<Sheet> WorkbookReader::run() {
  std::string path;
  for (const auto& [id, relation] : relations(""))
    if (relation.type == "officeDocument") path = relation.target;
  tinyxml2::XMLDocument document;
  if (diagnostics_.failed() || !part(path, document)) return {};
  const std::map<std::string, Relation> parts = relations(path);
  for (const auto& [id, relation] : parts)
    if (relation.type == "sharedStrings") shared_strings(relation.target);
  const auto* list = child(*document.RootElement(), "sheets");
  if (!list) damaged(path + ": no list of sheets");
  if (diagnostics_.failed()) return {};
  std::vector<Sheet> sheets;
  for (const auto& named : children(*list)) {
    std::string id;
    for (const auto* each = named.FirstAttribute(); each; each = each->Next())
      if (std::string_view(each->Name()).ends_with(":id")) id = each->Value();
    const auto relation = parts.find(id);
    const bool hidden = !attribute(named, "state").empty() && attribute(named, "state") != "visible";
    if (hidden || relation == parts.end() || relation->second.type != "worksheet") continue;
    if (sheets.size() == kMostSheets) {
      too_large("sheets", "more than 50");
      return {};
    }
    tinyxml2::XMLDocument sheet;
    if (!part(relation->second.target, sheet)) return {};
    sheets.push_back({std::string(attribute(named, "name")), {}});
    const auto* rows = child(*sheet.RootElement(), "sheetData");
    if (rows && !sheet_text(*rows, sheets.back().text)) {
      too_large("sheet " + sheets.back().name, "more than 30 MB of text");
      return {};
    }
  }
  return sheets;
}
}  // namespace

bool is_workbook(std::string_view bytes) {
  if (!is_zip(bytes)) return false;
  std::string why;
  const std::optional<Zip> zip = Zip::open(bytes, why);
  return zip && zip->find("[Content_Types].xml") &&
         std::any_of(zip->entries().begin(), zip->entries().end(),
                     [](const Zip::Entry& entry) { return entry.name.starts_with("xl/"); });
}

std::vector<Sheet> read_workbook(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  std::string why;
  const std::optional<Zip> zip = Zip::open(bytes, why);
  if (zip) return WorkbookReader(*zip, name, diagnostics).run();
  diagnostics.error({.code = "workbook-unreadable",
                     .at = {name, 0, 0, {}},
                     .message = "the workbook cannot be read",
                     .found = why,
                     .remedy = "save it again, or save the sheet with the table as CSV"});
  return {};
}

}  // namespace teasel::formats
