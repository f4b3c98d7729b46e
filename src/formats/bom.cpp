// Bills of materials as tables.
#include <algorithm>

#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kBomNames = {"designator", "designators", "refdes", "reference", "references", "ref", "refs", "partreference", "referencedesignator", "referencedesignators", "component",
                                            "quantity", "qty", "value", "val", "comment", "description", "partnumber", "part", "partno", "mpn", "manufacturerpartnumber", "footprint", "package", "item", "number",
                                            "dnp", "dnf", "dni", "fitted", "populate", "mounted", "type", "note", "notes"};
constexpr int kWidestRange = 2000;

int reference_column(const TextTable& t) {
  return find_column(t, {"designator", "designators", "refdes", "referencedesignator", "referencedesignators", "partreference", "references", "reference", "refs", "ref", "component"});
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
  for (const char* word : {"dnp", "dnf", "dni", "fitted", "populate", "mounted", "variant"}) {
    const std::string_view w(word);
    if (low.rfind(w, 0) != 0) continue;
    if (low.size() > w.size() && ((low[w.size()] >= 'a' && low[w.size()] <= 'z'))) continue;
    FittedColumn f;
    f.inverted = word[0] == 'd' && word[1] == 'n';
    std::string_view rest = std::string_view(header).substr(w.size());
    const auto mark = [](char c) { return c == ':' || c == '_' || c == '-' || c == '[' || c == ']' || c == '(' || c == ')' || static_cast<unsigned char>(c) <= ' '; };
    while (!rest.empty() && mark(rest.front())) rest.remove_prefix(1);
    while (!rest.empty() && mark(rest.back())) rest.remove_suffix(1);
    f.variant = rest;
    if (w == "variant" && f.variant.empty()) continue;
    return f;
  }
  return std::nullopt;
}

/// "R1, R2; R5-R9 C3" one by one.
std::vector<std::string> references(const std::string& text) {
  std::vector<std::string> out;
  std::string word;
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
      if (!a.empty() && (b == a || b.empty()) && number(from, lo) && number(to, hi) && hi >= lo && hi - lo < kWidestRange) {
        for (int i = static_cast<int>(lo); i <= static_cast<int>(hi); ++i) out.push_back(std::string(a) + std::to_string(i));
        word.clear();
        return;
      }
    }
    if (!word.empty()) out.push_back(word);
    word.clear();
  };
  for (char c : text) {
    if (c == ',' || c == ';' || static_cast<unsigned char>(c) <= ' ') keep();
    else word += c;
  }
  keep();
  return out;
}
}  // namespace

bool looks_like_bom(std::string_view bytes) {
  const auto t = read_table(bytes.substr(0, 20'000), "", kBomNames, 2);
  if (!t || t->rows.empty() || reference_column(*t) < 0) return false;
  if (find_column(*t, {"x", "posx", "midx", "centerx", "symx", "xmm", "refx", "padx", "positionx", "locationx", "xcoord"}) >= 0) return false;
  if (find_column(*t, {"height", "heightmm"}) >= 0) return false;
  const bool fitted = std::any_of(t->header.begin(), t->header.end(), [](const std::string& h) { return fitted_header(h).has_value(); });
  return fitted || find_column(*t, {"quantity", "qty", "mpn", "partnumber", "manufacturerpartnumber", "value", "comment", "description"}) >= 0;
}

BomTable read_bom(std::string_view bytes, const std::string& name, Diagnostics& d) {
  BomTable b;
  b.name = name;
  const auto t = read_table(bytes, name, kBomNames, 2);
  const int ref = t ? reference_column(*t) : -1;
  if (ref < 0) {
    d.error("bom-no-header", {name, 1, 0, {}}, "no header row with the parts' references was found", {}, "a header such as  Reference,Value,Quantity,DNP", "add a header row");
    return b;
  }
  std::vector<FittedColumn> columns;
  for (std::size_t i = 0; i < t->header.size(); ++i)
    if (auto f = fitted_header(t->header[i])) f->column = static_cast<int>(i), columns.push_back(*f);
  const bool variants = std::any_of(columns.begin(), columns.end(), [](const FittedColumn& f) { return !f.variant.empty(); });
  std::erase_if(columns, [&](const FittedColumn& f) { return variants == f.variant.empty(); });
  if (!variants && columns.size() > 1) columns.resize(1);
  if (variants)
    for (const auto& f : columns) b.variants.push_back(f.variant);
  else if (!columns.empty())
    b.fitted_column = t->header[static_cast<std::size_t>(columns[0].column)];
  std::vector<bool> marked(columns.size()), denied(columns.size());
  for (std::size_t c = 0; c < columns.size(); ++c)
    for (std::size_t i = 0; i < t->rows.size(); ++i)
      if (const auto f = fitted_cell(cell(*t, i, columns[c].column), columns[c].inverted)) (*f ? marked : denied)[c] = true;
  for (std::size_t i = 0; i < t->rows.size(); ++i) {
    std::vector<std::optional<bool>> fitted;
    for (std::size_t c = 0; c < columns.size(); ++c) {
      const std::string text = cell(*t, i, columns[c].column);
      auto f = fitted_cell(text, columns[c].inverted);
      // An empty cell says the opposite where a column holds marks of one kind only.
      if (!f && text.empty() && marked[c] != denied[c]) f = denied[c];
      fitted.push_back(f);
      if (!f && !text.empty() && d.all().size() < 20) d.warn("bom-cell", {name, t->lines[i], 0, {}}, "this cell does not say whether the part is fitted", t->header[static_cast<std::size_t>(columns[c].column)] + ": " + text.substr(0, 40), "write yes or no");
    }
    if (columns.empty()) fitted.push_back(true);
    for (std::string& r : references(cell(*t, i, ref))) b.rows.push_back({std::move(r), fitted, t->lines[i]});
  }
  if (b.rows.empty()) d.error("bom-empty", {name, 1, 0, {}}, "the bill of materials lists no part", {}, {}, "is it the right table?");
  return b;
}

}  // namespace teasel::formats
