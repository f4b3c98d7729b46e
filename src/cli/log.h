// Findings, progress and errors on standard error.
#pragma once
#include <chrono>
#include <string>
#include <string_view>

#include "commands.h"
#include "teasel/diagnostics.h"
#include "teasel/report/answers.h"

namespace teasel::cli {

void set_up_log(const Common& common);
void log_findings(const Diagnostics& diagnostics);
void log_error(const std::string& text);

/// A line on standard output, in which a terminal finds nothing to obey.
void say(std::string_view line);
/// The same for JSON.
void say_json(std::string_view json);

/// Titles beside their texts; in bold and colour where a terminal has them.
void print_answers(const std::vector<AnswerRow>& rows);

/// A bar on a terminal, which appears after one second, so that quick commands show none. Elsewhere a line a stage,
/// from the third second on.
class Progress {
 public:
  explicit Progress(bool quiet);
  ~Progress() { clear(); }
  void operator()(const char* what, double fraction);
  void clear();

 private:
  bool shown_, lines_, drawn_ = false;
  std::chrono::steady_clock::time_point start_;
};

}  // namespace teasel::cli
