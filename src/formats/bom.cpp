// Reads bills of materials that are tables.
#include <algorithm>
#include <cmath>

#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kBomNames = {"designator",
                                            "designators",
                                            "refdes",
                                            "reference",
                                            "references",
                                            "ref",
                                            "refs",
                                            "partreference",
                                            "referencedesignator",
                                            "referencedesignators",
                                            "component",
                                            "quantity",
                                            "qty",
                                            "value",
                                            "val",
                                            "comment",
                                            "description",
                                            "partnumber",
                                            "part",
                                            "partno",
                                            "mpn",
                                            "manufacturerpartnumber",
                                            "footprint",
                                            "package",
                                            "item",
                                            "number",
                                            "dnp",
                                            "dnf",
                                            "dni",
                                            "fitted",
                                            "populate",
                                            "mounted",
                                            "type",
                                            "note",
                                            "notes"};
constexpr int kWidestRange = 2000;

int reference_column(const TextTable& table) {
  return find_column(table, {"designator", "designators", "refdes", "referencedesignator", "referencedesignators",
                             "partreference", "references", "reference", "refs", "ref", "component"});
}

/// What a header such as "Fitted: EU", "variant lite" or "DNP [base]" says: the polarity and the variant's name.
struct FittedColumn {
  int column = -1;
  bool inverted = false;
  std::string variant;
};
std::optional<FittedColumn> fitted_header(const std::string& header) {
  std::string low = header;
  for (char& letter : low)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  for (const char* word : {"dnp", "dnf", "dni", "fitted", "populated", "populate", "mounted", "installed", "stuffed",
                           "placed", "variant"}) {
    const std::string_view prefix(word);
    if (low.rfind(prefix, 0) != 0) continue;
    if (low.size() > prefix.size() && ((low[prefix.size()] >= 'a' && low[prefix.size()] <= 'z'))) continue;
    FittedColumn column;
    column.inverted = word[0] == 'd' && word[1] == 'n';
    std::string_view rest = std::string_view(header).substr(prefix.size());
    const auto mark = [](char letter) {
      return letter == ':' || letter == '_' || letter == '-' || letter == '[' || letter == ']' || letter == '(' ||
             letter == ')' || static_cast<unsigned char>(letter) <= ' ';
    };
    while (!rest.empty() && mark(rest.front())) rest.remove_prefix(1);
    while (!rest.empty() && mark(rest.back())) rest.remove_suffix(1);
    column.variant = rest;
    if (prefix == "variant" && column.variant.empty()) continue;
    return column;
  }
  return std::nullopt;
}

/// Writes every kind of dash, and a double point, as one plain dash without blanks around it.
std::string with_plain_dashes(std::string text) {
  for (const char* dash : {"\xE2\x80\x93", "\xE2\x80\x94", "\xE2\x88\x92", ".."})
    for (std::size_t at; (at = text.find(dash)) != text.npos;) text.replace(at, std::string_view(dash).size(), "-");
  for (const char* wide : {" -", "- "})
    for (std::size_t at; (at = text.find(wide)) != text.npos;) text.replace(at, 2, "-");
  return text;
}

/// Lists the references of a cell such as "R1, R2; R5-R9 C3" one by one.
std::vector<std::string> references(const std::string& given) {
  std::vector<std::string> out;
  std::string word;
  const std::string text = with_plain_dashes(given);
  auto keep = [&] {
    const std::size_t dash = word.find('-');
    auto split_number = [](std::string_view part) {
      std::size_t i = part.size();
      while (i > 0 && part[i - 1] >= '0' && part[i - 1] <= '9') --i;
      return std::pair(part.substr(0, i), part.substr(i));
    };
    if (dash != word.npos && dash > 0 && dash + 1 < word.size()) {
      const auto [a, from] = split_number(std::string_view(word).substr(0, dash));
      auto [b, to] = split_number(std::string_view(word).substr(dash + 1));
      double lo{}, hi{};
      if (!a.empty() && (b == a || b.empty()) && number(from, lo) && number(to, hi) &&
          std::abs(hi - lo) < kWidestRange) {
        if (lo > hi) std::swap(lo, hi);
        for (int i = static_cast<int>(lo); i <= static_cast<int>(hi); ++i)
          out.push_back(std::string(a) + std::to_string(i));
        word.clear();
        return;
      }
    }
    if (!word.empty()) out.push_back(word);
    word.clear();
  };
  for (char letter : text) {
    if (letter == ',' || letter == ';' || static_cast<unsigned char>(letter) <= ' ')
      keep();
    else
      word += letter;
  }
  keep();
  return out;
}
}  // namespace

namespace {
/// A table with two known headers, or with one beside a column that says what is fitted.
std::optional<TextTable> bom_table(std::string_view bytes, const std::string& name) {
  auto table = read_table(bytes, name, kBomNames, 2);
  if (!table && (table = read_table(bytes, name, kBomNames, 1)) &&
      std::none_of(table->header.begin(), table->header.end(),
                   [](const std::string& header) { return fitted_header(header).has_value(); }))
    table.reset();
  return table;
}
}  // namespace

bool looks_like_bom(std::string_view bytes) {
  const auto table = bom_table(bytes.substr(0, 20'000), "");
  if (!table || table->rows.empty() || reference_column(*table) < 0) return false;
  if (find_column(*table, {"x", "posx", "midx", "centerx", "symx", "xmm", "refx", "padx", "positionx", "locationx",
                           "xcoord"}) >= 0)
    return false;
  if (find_column(*table, {"height", "heightmm"}) >= 0) return false;
  const bool fitted = std::any_of(table->header.begin(), table->header.end(),
                                  [](const std::string& header) { return fitted_header(header).has_value(); });
  return fitted || find_column(*table, {"quantity", "qty", "mpn", "partnumber", "manufacturerpartnumber", "value",
                                        "comment", "description"}) >= 0;
}

BomTable read_bom(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  BomTable bom;
  bom.name = name;
  const auto table = bom_table(bytes, name);
  const int ref = table ? reference_column(*table) : -1;
  if (ref < 0) {
    diagnostics.error({.code = "bom-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with the parts' references was found",
                       .expected = "a header such as  Reference,Value,Quantity,DNP",
                       .remedy = "add a header row"});
    return bom;
  }
  std::vector<FittedColumn> columns;
  for (std::size_t i = 0; i < table->header.size(); ++i)
    if (auto column = fitted_header(table->header[i])) {
      column->column = static_cast<int>(i);
      columns.push_back(*column);
    }
  const bool variants =
      std::any_of(columns.begin(), columns.end(), [](const FittedColumn& column) { return !column.variant.empty(); });
  std::erase_if(columns, [&](const FittedColumn& column) { return variants == column.variant.empty(); });
  if (!whole(*table, diagnostics)) return bom;
  if (variants)
    for (const auto& column : columns) bom.variants.push_back(column.variant);
  else
    for (const auto& column : columns)
      bom.fitted_column +=
          (bom.fitted_column.empty() ? "" : " and ") + table->header[static_cast<std::size_t>(column.column)];
  // In a column that only ever says yes, a blank cell means no. In a column that marks missing parts, it means fitted.
  std::vector<bool> only_yes(columns.size());
  for (std::size_t column = 0; column < columns.size(); ++column) {
    bool yes = false, no = false;
    for (std::size_t i = 0; i < table->rows.size(); ++i)
      if (const auto fitted = fitted_cell(cell(*table, i, columns[column].column), columns[column].inverted))
        (*fitted ? yes : no) = true;
    only_yes[column] = yes && !no && !columns[column].inverted && (variants || columns.size() == 1);
  }
  const int quantity = find_column(*table, {"quantity", "qty"}),
            value = find_column(*table, {"value", "val", "comment"});
  std::size_t blanks = 0, odd = 0;
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    std::vector<std::optional<bool>> fitted;
    for (std::size_t column = 0; column < columns.size(); ++column) {
      const std::string text = cell(*table, i, columns[column].column);
      auto fitted_here = fitted_cell(text, columns[column].inverted);
      if (!fitted_here && text.empty() && only_yes[column]) {
        fitted_here = false;
        ++blanks;
      }
      if (!fitted_here && text.empty() && columns[column].inverted) fitted_here = true;
      if (!fitted_here && !text.empty() && odd++ < 5)
        diagnostics.warn(
            {.code = "bom-cell",
             .at = {name, table->lines[i], 0, {}},
             .message = "this cell does not say whether the part is fitted",
             .found = table->header[static_cast<std::size_t>(columns[column].column)] + ": " + text.substr(0, 40),
             .remedy = "write yes or no"});
      fitted.push_back(fitted_here);
    }
    if (!variants) {
      // Without variants a row has one answer: it is not fitted if any column, the quantity or the value says so.
      std::optional<bool> all;
      for (const auto& answer : fitted)
        if (answer) all = all.value_or(true) && *answer;
      double pieces{};
      if (number(cell(*table, i, quantity), pieces) && pieces == 0) all = false;
      if (const auto answer = fitted_cell(cell(*table, i, value), false);
          answer && !*answer && header_key(cell(*table, i, value)).size() > 1 &&
          header_key(cell(*table, i, value)) != "no")
        all = false;
      if (columns.empty() && !all) all = true;
      fitted = {all};
    }
    for (std::string& reference : references(cell(*table, i, ref))) {
      if (reference.find('-') != reference.npos && odd++ < 5)
        diagnostics.warn({.code = "bom-reference",
                          .at = {name, table->lines[i], 0, {}},
                          .message = "a range of references is not understood and taken as one name",
                          .found = reference,
                          .remedy = "write the references one by one"});
      bom.rows.push_back({std::move(reference), std::string(cell(*table, i, value)), fitted, table->lines[i]});
    }
  }
  if (blanks)
    diagnostics.warn({.code = "bom-blanks",
                      .at = {name, 1, 0, {}},
                      .message = "blank cells are taken as not fitted, since the column marks only what is",
                      .found = std::to_string(blanks) + " rows",
                      .remedy = "write no where a part is not fitted, or list what is fitted"});
  if (bom.rows.empty())
    diagnostics.error({.code = "bom-empty",
                       .at = {name, 1, 0, {}},
                       .message = "the bill of materials lists no part",
                       .remedy = "is it the right table?"});
  return bom;
}

}  // namespace teasel::formats
