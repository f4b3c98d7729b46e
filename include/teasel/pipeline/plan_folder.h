// An output folder after it was written: what was touched since, and whether a fixture was built by it.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "teasel/diagnostics.h"

namespace teasel::pipeline {

/// A folder against what was written into it, and its inputs against what they were then.
struct FolderCheck {
  std::string plan_id;                        ///< empty: the folder holds no plan
  std::string built;                          ///< date by which a fixture was marked as built by it; empty: it is not
  std::size_t written = 0;                    ///< files that were written
  std::vector<std::string> touched, missing;  ///< of the files that were written
  std::vector<std::string> foreign;           ///< files that teasel did not write
  std::vector<std::string> kept;              ///< files that somebody changed before the folder was written anew
  std::string job;                            ///< the job file whose inputs were compared; empty: none was found
  std::size_t inputs = 0;                     ///< inputs that were compared
  std::vector<std::string> inputs_changed, inputs_missing;
  std::vector<std::string> inputs_unknown;  ///< inputs that lie elsewhere, so that they cannot be compared
  /// Nothing differs, as far as it could be compared.
  [[nodiscard]] bool as_written() const {
    return touched.empty() && missing.empty() && foreign.empty() && inputs_changed.empty() && inputs_missing.empty();
  }
};
/// `job_file`: the job to compare the inputs with; empty: it is looked for above the folder and in the current one.
/// An error where teasel wrote nothing into the folder.
FolderCheck check_folder(const std::filesystem::path& folder, const std::string& job_file, Diagnostics& diagnostics);

/// Marks the plan in a folder as the one that a fixture was built by, so that no run overwrites it. `date`: year, month
/// and day with dashes. An error where the folder holds no such plan, or where plan, fixture or plates were changed.
void mark_built(const std::filesystem::path& folder, const std::string& date, Diagnostics& diagnostics);
/// Takes the mark away.
void unmark_built(const std::filesystem::path& folder, Diagnostics& diagnostics);
/// True for a day of the calendar, as "2026-11-30".
bool is_date(const std::string& text);

}  // namespace teasel::pipeline
