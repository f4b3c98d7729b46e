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
                                            "notes",
                                            "bauteil",
                                            "bauteile",
                                            "bezeichner",
                                            "referenz",
                                            "referenzen",
                                            "wert",
                                            "menge",
                                            "anzahl",
                                            "stckzahl",
                                            "stueckzahl",
                                            "gehuse",
                                            "gehaeuse",
                                            "bauform",
                                            "artikelnummer",
                                            "beschreibung"};
constexpr int kWidestRange = 2000;

int reference_column(const TextTable& table) {
  return find_column(table, {"designator", "designators", "refdes", "referencedesignator", "referencedesignators",
                             "partreference", "references", "reference", "refs", "ref", "component", "bauteil",
                             "bauteile", "bezeichner", "referenz", "referenzen"});
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
  for (const char* word :
       {"dnp", "dnf", "dni", "fitted", "populated", "populate", "mounted", "installed", "stuffed", "placed", "variant",
        "best\xC3\xBC"
        "ckt",
        "bestueckt",
        "nicht best\xC3\xBC"
        "ckt",
        "nicht bestueckt"}) {
    const std::string_view prefix(word);
    if (low.rfind(prefix, 0) != 0) continue;
    if (low.size() > prefix.size() && ((low[prefix.size()] >= 'a' && low[prefix.size()] <= 'z'))) continue;
    FittedColumn column;
    column.inverted = prefix.starts_with("dn") || prefix.starts_with("nicht");
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
                           "xcoord", "xpos", "xposition", "xkoordinate"}) >= 0)
    return false;
  if (find_column(*table, {"height", "heightmm"}) >= 0) return false;
  const bool fitted = std::any_of(table->header.begin(), table->header.end(),
                                  [](const std::string& header) { return fitted_header(header).has_value(); });
  return fitted || find_column(*table, {"quantity", "qty", "mpn", "partnumber", "manufacturerpartnumber", "value",
                                        "comment", "description", "wert", "menge", "anzahl", "stckzahl", "stueckzahl",
                                        "artikelnummer", "beschreibung"}) >= 0;
}

namespace {
/// Reads a bill of materials whose header was found, row by row.
class BomReader {
 public:
  BomReader(const TextTable& table, const std::string& name, Diagnostics& diagnostics)
      : table_(table), name_(name), diagnostics_(diagnostics) {
    bom_.name = name;
    quantity_ = find_column(table, {"quantity", "qty", "menge", "anzahl", "stckzahl", "stueckzahl"});
    value_ = find_column(table, {"value", "val", "comment", "wert"});
  }
  BomTable run();

 private:
  void find_columns();
  void settle_blanks();
  std::vector<std::optional<bool>> fitted_by_column(std::size_t i);
  std::optional<bool> one_answer(std::size_t i, const std::vector<std::optional<bool>>& fitted) const;
  void read_row(std::size_t i, int reference_column);
  const std::string& header(const FittedColumn& column) const {
    return table_.header[static_cast<std::size_t>(column.column)];
  }

  const TextTable& table_;
  const std::string& name_;
  Diagnostics& diagnostics_;
  BomTable bom_;
  int quantity_, value_;
  std::vector<FittedColumn> columns_;
  std::vector<bool> only_yes_;  ///< by column: a blank cell means not fitted
  bool variants_ = false;
  std::size_t blanks_ = 0, odd_ = 0;
};

/// Columns that name variants count, and where there are none, those that name no variant.
void BomReader::find_columns() {
  for (std::size_t i = 0; i < table_.header.size(); ++i)
    if (auto column = fitted_header(table_.header[i])) {
      column->column = static_cast<int>(i);
      columns_.push_back(*column);
    }
  variants_ =
      std::any_of(columns_.begin(), columns_.end(), [](const FittedColumn& column) { return !column.variant.empty(); });
  std::erase_if(columns_, [&](const FittedColumn& column) { return variants_ == column.variant.empty(); });
}

/// In a column that only ever says yes, a blank cell means no. In a column that marks missing parts, it means fitted.
void BomReader::settle_blanks() {
  for (const FittedColumn& column : columns_) {
    bool yes = false, no = false;
    for (std::size_t i = 0; i < table_.rows.size(); ++i)
      if (const auto fitted = fitted_cell(cell(table_, i, column.column), column.inverted)) (*fitted ? yes : no) = true;
    only_yes_.push_back(yes && !no && !column.inverted && (variants_ || columns_.size() == 1));
  }
}

std::vector<std::optional<bool>> BomReader::fitted_by_column(std::size_t i) {
  std::vector<std::optional<bool>> out;
  for (std::size_t k = 0; k < columns_.size(); ++k) {
    const FittedColumn& column = columns_[k];
    const std::string text = cell(table_, i, column.column);
    auto fitted = fitted_cell(text, column.inverted);
    if (!fitted && text.empty() && only_yes_[k]) {
      fitted = false;
      ++blanks_;
    }
    if (!fitted && text.empty() && column.inverted) fitted = true;
    if (!fitted && !text.empty() && odd_++ < 5)
      diagnostics_.warn({.code = "bom-cell",
                         .at = {name_, table_.lines[i], 0, {}},
                         .message = "this cell does not say whether the part is fitted",
                         .found = header(column) + ": " + text.substr(0, 40),
                         .remedy = "write \"yes\" or \"no\""});
    out.push_back(fitted);
  }
  return out;
}

/// Without variants a row has one answer: it is not fitted if any column, the quantity or the value says so.
std::optional<bool> BomReader::one_answer(std::size_t i, const std::vector<std::optional<bool>>& fitted) const {
  std::optional<bool> all;
  for (const auto& answer : fitted)
    if (answer) all = all.value_or(true) && *answer;
  double pieces{};
  if (number(cell(table_, i, quantity_), pieces) && pieces == 0) all = false;
  const std::string value = cell(table_, i, value_);
  if (const auto answer = fitted_cell(value, false);
      answer && !*answer && header_key(value).size() > 1 && header_key(value) != "no")
    all = false;
  if (columns_.empty() && !all) all = true;
  return all;
}

void BomReader::read_row(std::size_t i, int reference_column) {
  std::vector<std::optional<bool>> fitted = fitted_by_column(i);
  if (!variants_) fitted = {one_answer(i, fitted)};
  for (std::string& reference : references(cell(table_, i, reference_column))) {
    if (reference.find('-') != reference.npos && odd_++ < 5)
      diagnostics_.warn({.code = "bom-reference",
                         .at = {name_, table_.lines[i], 0, {}},
                         .message = "a range of references cannot be read; it is taken as one name",
                         .found = reference,
                         .remedy = "write the references one by one"});
    bom_.rows.push_back({std::move(reference), cell(table_, i, value_), fitted, table_.lines[i]});
  }
}

BomTable BomReader::run() {
  find_columns();
  if (!whole(table_, diagnostics_)) return std::move(bom_);
  for (const FittedColumn& column : columns_) {
    if (variants_)
      bom_.variants.push_back(column.variant);
    else
      bom_.fitted_column += (bom_.fitted_column.empty() ? "" : " and ") + header(column);
  }
  settle_blanks();
  const int column = reference_column(table_);
  for (std::size_t i = 0; i < table_.rows.size(); ++i) read_row(i, column);
  if (blanks_)
    diagnostics_.warn(
        {.code = "bom-blanks",
         .at = {name_, 1, 0, {}},
         .message = "blank cells are taken as not fitted, since the column marks only parts that are fitted",
         .found = std::to_string(blanks_) + " rows",
         .remedy = "write \"no\" where a part is not fitted"});
  if (bom_.rows.empty())
    diagnostics_.error({.code = "bom-empty",
                        .at = {name_, 1, 0, {}},
                        .message = "the bill of materials lists no part",
                        .remedy = "check that this is the right table"});
  return std::move(bom_);
}
}  // namespace

BomTable read_bom(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_bom, read_bom, diagnostics);
  const auto table = bom_table(bytes, name);
  if (!table || reference_column(*table) < 0) {
    diagnostics.error({.code = "bom-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with a column for the references of parts was found",
                       .expected = "a header such as  Reference,Value,Quantity,DNP",
                       .remedy = "add a header row"});
    BomTable none;
    none.name = name;
    return none;
  }
  return BomReader(*table, name, diagnostics).run();
}

}  // namespace teasel::formats
