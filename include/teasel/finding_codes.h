// Every code of a finding, said once: the page "findings" of the manual and the check of `[checks] accept` come from
// here.
#pragma once
#include <span>
#include <string_view>

namespace teasel {

struct FindingCode {
  std::string_view code;      ///< kebab-case; stable, since users put it into [checks] accept and scripts look for it
  std::string_view severity;  ///< "error", "warning", "note", or two of them with "or" between
  bool acceptable{};          ///< [checks] accept = ["..."] turns the error into a warning
  std::string_view meaning;   ///< in full sentences
  std::string_view remedy{};  ///< what to do; empty where there is nothing to do
};
/// By code.
std::span<const FindingCode> finding_codes();
/// The row of a code; null if there is none.
const FindingCode* finding_code(std::string_view code);

}  // namespace teasel
