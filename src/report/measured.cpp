#include "teasel/report/measured.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <set>
#include <vector>

#include "teasel/formats/tables.h"
#include "text.h"

namespace teasel {

namespace {
using Row = std::vector<std::string>;

// Columns of verify.csv, as proving.cpp writes them.
const Row kColumns{"step",  "stage", "check",  "probe",    "net",    "pin",         "against",
                   "limit", "unit",  "if_not", "measured", "passed", "measured_on", "plan_id"};
constexpr std::size_t kMeasured = 10, kPassed = 11, kMeasuredOn = 12, kPlanId = 13;
constexpr std::size_t kSame[] = {1, 2, 3, 4, 5, 6, 7, 8};

/// Rows with the columns in their order, whichever the file has; nothing where it is no such table.
std::optional<std::vector<Row>> rows_of(const std::string& text) {
  if (text.empty()) return std::vector<Row>{};
  const std::vector<std::string> known{"step", "stage", "check", "probe", "net", "against", "measured", "passed"};
  const auto table = formats::read_table(text, "verify.csv", known, known.size());
  if (!table || table->open_quote) return std::nullopt;
  std::vector<int> at;
  for (const std::string& column : kColumns) {
    int found = -1;
    for (std::size_t i = 0; i < table->header.size(); ++i)
      if (formats::header_key(table->header[i]) == formats::header_key(column)) found = static_cast<int>(i);
    at.push_back(found);
  }
  std::vector<Row> rows;
  for (const Row& cells : table->rows) {
    Row row;
    for (const int i : at)
      row.push_back(i >= 0 && static_cast<std::size_t>(i) < cells.size()
                        ? Csv::from_cell(cells[static_cast<std::size_t>(i)])
                        : "");
    rows.push_back(std::move(row));
  }
  return rows;
}

Row key_of(const Row& row) {
  Row key;
  for (const std::size_t i : kSame) key.push_back(row[i]);
  return key;
}

/// The ways in which people write no; a measured step without a word counts as passed.
bool says_no(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char letter) { return static_cast<char>(std::tolower(letter)); });
  const std::size_t from = text.find_first_not_of(" \t"), to = text.find_last_not_of(" \t.");
  if (from == text.npos) return false;
  text = text.substr(from, to - from + 1);
  static const std::set<std::string> kNo{"no", "n", "fail", "failed", "nok", "not ok", "false", "0", "bad", "-"};
  return kNo.count(text) > 0;
}

bool is_filled(const Row& row) {
  return !row[kMeasured].empty() || !row[kPassed].empty();
}

std::string table_of(const std::vector<Row>& rows) {
  Csv::Text text = csv_row(kColumns);
  for (const Row& row : rows) text += csv_row(row);
  return text.text();
}
}  // namespace

bool holds_measurements(const std::string& verify) {
  const auto rows = rows_of(verify);
  return rows && std::any_of(rows->begin(), rows->end(), is_filled);
}

std::optional<CarriedMeasurements> carry_measurements(const std::string& verify, const std::string& old_verify,
                                                      const std::string& old_earlier) {
  auto rows = rows_of(verify);
  const auto old = rows_of(old_verify), aside = rows_of(old_earlier);
  if (!rows || !old || !aside) return std::nullopt;
  std::multimap<Row, std::size_t> open;  // steps that nothing was carried to yet
  for (std::size_t i = 0; i < rows->size(); ++i) open.emplace(key_of((*rows)[i]), i);
  CarriedMeasurements made;
  std::vector<Row> gone;
  for (const auto* list : {&*old, &*aside})
    for (Row row : *list) {
      if (!is_filled(row)) continue;
      if (row[kMeasuredOn].empty()) row[kMeasuredOn] = row[kPlanId];
      const auto step = open.find(key_of(row));
      if (step == open.end()) {
        gone.push_back(std::move(row));
        continue;
      }
      Row& now = (*rows)[step->second];
      now[kMeasured] = row[kMeasured];
      now[kPassed] = row[kPassed];
      if (row[kMeasuredOn] != now[kPlanId]) now[kMeasuredOn] = row[kMeasuredOn];
      if (says_no(row[kPassed]) && ++made.failed == 1)
        made.first_failed = "step " + now[0] + ": " + now[2] + (now[3].empty() ? "" : ", " + now[3]);
      open.erase(step);
      ++made.carried;
    }
  made.gone = gone.size();
  made.open = open.size();
  made.verify = made.carried ? table_of(*rows) : verify;
  if (!gone.empty()) made.earlier = table_of(gone);
  return made;
}

}  // namespace teasel
