// What whoever reads a plan or an audit asks first, each question with its answer in a few words.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "teasel/report.h"

namespace teasel {

enum class Tone : std::uint8_t { plain, good, careful, bad };
struct Answer {
  std::string title;               ///< "Verdict", "Nets"
  std::vector<std::string> lines;  ///< each a sentence or two
  Tone tone = Tone::plain;
};
/// The verdict first. `whole`: of a plan, else of an audit. `folder`: into which the files were written; empty: none.
std::vector<Answer> answers(const Outcome& outcome, bool whole, const std::string& folder);

/// Beside their titles, broken at blanks: no row wider than 100 columns, no more than 25 rows. What does not fit is
/// left out with "...".
struct AnswerRow {
  std::string title, text;  ///< title empty: the row goes on with the answer above
  Tone tone = Tone::plain;
};
std::vector<AnswerRow> answer_rows(const std::vector<Answer>& answers);
inline constexpr std::size_t kAnswerRows = 25, kAnswerColumns = 100, kAnswerTitle = 13;

}  // namespace teasel
