// Workbooks of spreadsheet programs (Office Open XML, .xlsx), as the tables that their sheets hold.
// Source: ECMA-376 part 1, SpreadsheetML: workbook, worksheets, shared string table.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"

namespace teasel::formats {

struct Sheet {
  std::string name;
  /// Its cells as the table readers take them: a line for each row, so that line numbers are row numbers; fields
  /// between quotes, a tab between fields. A cell holds what was typed or last worked out, whatever its display format.
  std::string text;
};
bool is_workbook(std::string_view bytes);
/// The sheets that are not hidden, in the order of their tabs. Errors: damaged, encrypted or hostile.
std::vector<Sheet> read_workbook(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
