// Bills of materials as tables.
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

int reference_column(const TextTable& t) {
  return find_column(t, {"designator", "designators", "refdes", "referencedesignator", "referencedesignators",
                         "partreference", "references", "reference", "refs", "ref", "component"});
}

/// "Fitted: EU", "variant lite", "DNP [base]": the polarity and the variant's name.
struct FittedColumn {
  int column = -1;
  bool inverted = false;
  std::string variant;
};
std::optional<FittedColumn> fitted_header(const std::string& header) {
  std::string low = header;
  for (char& c : low)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  for (const char* word : {"dnp", "dnf", "dni", "fitted", "populated", "populate", "mounted", "installed", "stuffed",
                           "placed", "variant"}) {
    const std::string_view w(word);
    if (low.rfind(w, 0) != 0) continue;
    if (low.size() > w.size() && ((low[w.size()] >= 'a' && low[w.size()] <= 'z'))) continue;
    FittedColumn f;
    f.inverted = word[0] == 'd' && word[1] == 'n';
    std::string_view rest = std::string_view(header).substr(w.size());
    const auto mark = [](char c) {
      return c == ':' || c == '_' || c == '-' || c == '[' || c == ']' || c == '(' || c == ')' ||
             static_cast<unsigned char>(c) <= ' ';
    };
    while (!rest.empty() && mark(rest.front())) rest.remove_prefix(1);
    while (!rest.empty() && mark(rest.back())) rest.remove_suffix(1);
    f.variant = rest;
    if (w == "variant" && f.variant.empty()) continue;
    return f;
  }
  return std::nullopt;
}

/// Dashes of every kind and double points as one dash, without blanks around it.
std::string with_plain_dashes(std::string text) {
  for (const char* dash : {"\xE2\x80\x93", "\xE2\x80\x94", "\xE2\x88\x92", ".."})
    for (std::size_t at; (at = text.find(dash)) != text.npos;) text.replace(at, std::string_view(dash).size(), "-");
  for (const char* wide : {" -", "- "})
    for (std::size_t at; (at = text.find(wide)) != text.npos;) text.replace(at, 2, "-");
  return text;
}

/// "R1, R2; R5-R9 C3" one by one.
std::vector<std::string> references(const std::string& given) {
  std::vector<std::string> out;
  std::string word;
  const std::string text = with_plain_dashes(given);
  auto keep = [&] {
    const std::size_t dash = word.find('-');
    auto split_number = [](std::string_view s) {
      std::size_t i = s.size();
      while (i > 0 && s[i - 1] >= '0' && s[i - 1] <= '9') --i;
      return std::pair(s.substr(0, i), s.substr(i));
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
  for (char c : text) {
    if (c == ',' || c == ';' || static_cast<unsigned char>(c) <= ' ')
      keep();
    else
      word += c;
  }
  keep();
  return out;
}
}  // namespace

namespace {
/// Two known headers, or one beside a column of what is fitted.
std::optional<TextTable> bom_table(std::string_view bytes, const std::string& name) {
  auto t = read_table(bytes, name, kBomNames, 2);
  if (!t && (t = read_table(bytes, name, kBomNames, 1)) &&
      std::none_of(t->header.begin(), t->header.end(),
                   [](const std::string& h) { return fitted_header(h).has_value(); }))
    t.reset();
  return t;
}
}  // namespace

bool looks_like_bom(std::string_view bytes) {
  const auto t = bom_table(bytes.substr(0, 20'000), "");
  if (!t || t->rows.empty() || reference_column(*t) < 0) return false;
  if (find_column(
          *t, {"x", "posx", "midx", "centerx", "symx", "xmm", "refx", "padx", "positionx", "locationx", "xcoord"}) >= 0)
    return false;
  if (find_column(*t, {"height", "heightmm"}) >= 0) return false;
  const bool fitted = std::any_of(t->header.begin(), t->header.end(),
                                  [](const std::string& h) { return fitted_header(h).has_value(); });
  return fitted || find_column(*t, {"quantity", "qty", "mpn", "partnumber", "manufacturerpartnumber", "value",
                                    "comment", "description"}) >= 0;
}

BomTable read_bom(std::string_view bytes, const std::string& name, Diagnostics& d) {
  BomTable b;
  b.name = name;
  const auto t = bom_table(bytes, name);
  const int ref = t ? reference_column(*t) : -1;
  if (ref < 0) {
    d.error("bom-no-header", {name, 1, 0, {}}, "no header row with the parts' references was found", {},
            "a header such as  Reference,Value,Quantity,DNP", "add a header row");
    return b;
  }
  std::vector<FittedColumn> columns;
  for (std::size_t i = 0; i < t->header.size(); ++i)
    if (auto f = fitted_header(t->header[i])) {
      f->column = static_cast<int>(i);
      columns.push_back(*f);
    }
  const bool variants =
      std::any_of(columns.begin(), columns.end(), [](const FittedColumn& f) { return !f.variant.empty(); });
  std::erase_if(columns, [&](const FittedColumn& f) { return variants == f.variant.empty(); });
  if (!whole(*t, d)) return b;
  if (variants)
    for (const auto& f : columns) b.variants.push_back(f.variant);
  else
    for (const auto& f : columns)
      b.fitted_column += (b.fitted_column.empty() ? "" : " and ") + t->header[static_cast<std::size_t>(f.column)];
  // In a column that only ever says yes, a blank says no; in one that marks what is missing, a blank says nothing is.
  std::vector<bool> only_yes(columns.size());
  for (std::size_t c = 0; c < columns.size(); ++c) {
    bool yes = false, no = false;
    for (std::size_t i = 0; i < t->rows.size(); ++i)
      if (const auto f = fitted_cell(cell(*t, i, columns[c].column), columns[c].inverted)) (*f ? yes : no) = true;
    only_yes[c] = yes && !no && !columns[c].inverted && (variants || columns.size() == 1);
  }
  const int quantity = find_column(*t, {"quantity", "qty"}), value = find_column(*t, {"value", "val", "comment"});
  std::size_t blanks = 0, odd = 0;
  for (std::size_t i = 0; i < t->rows.size(); ++i) {
    std::vector<std::optional<bool>> fitted;
    for (std::size_t c = 0; c < columns.size(); ++c) {
      const std::string text = cell(*t, i, columns[c].column);
      auto f = fitted_cell(text, columns[c].inverted);
      if (!f && text.empty() && only_yes[c]) {
        f = false;
        ++blanks;
      }
      if (!f && text.empty() && columns[c].inverted) f = true;
      if (!f && !text.empty() && odd++ < 5)
        d.warn("bom-cell", {name, t->lines[i], 0, {}}, "this cell does not say whether the part is fitted",
               t->header[static_cast<std::size_t>(columns[c].column)] + ": " + text.substr(0, 40), "write yes or no");
      fitted.push_back(f);
    }
    if (!variants) {
      // One word for the row: not fitted if any column, the quantity or the value says so.
      std::optional<bool> all;
      for (const auto& f : fitted)
        if (f) all = all.value_or(true) && *f;
      double n{};
      if (number(cell(*t, i, quantity), n) && n == 0) all = false;
      if (const auto f = fitted_cell(cell(*t, i, value), false);
          f && !*f && header_key(cell(*t, i, value)).size() > 1 && header_key(cell(*t, i, value)) != "no")
        all = false;
      if (columns.empty() && !all) all = true;
      fitted = {all};
    }
    for (std::string& r : references(cell(*t, i, ref))) {
      if (r.find('-') != r.npos && odd++ < 5)
        d.warn("bom-reference", {name, t->lines[i], 0, {}},
               "a range of references is not understood and taken as one name", r, "write the references one by one");
      b.rows.push_back({std::move(r), std::string(cell(*t, i, value)), fitted, t->lines[i]});
    }
  }
  if (blanks)
    d.warn("bom-blanks", {name, 1, 0, {}}, "blank cells are taken as not fitted, since the column marks only what is",
           std::to_string(blanks) + " rows", "write no where a part is not fitted, or list what is fitted");
  if (b.rows.empty())
    d.error("bom-empty", {name, 1, 0, {}}, "the bill of materials lists no part", {}, {}, "is it the right table?");
  return b;
}

}  // namespace teasel::formats
