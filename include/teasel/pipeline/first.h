// The first job for a folder of release files.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

struct FirstDraft {
  Job job;  ///< paths relative to the job file
  std::map<std::string, std::vector<std::string>> evidence;
  std::string text;  ///< of the job file, each inferred value under its evidence
  /// Files that the job names and that lie in archives alone: their bytes, by path relative to the job file.
  FilesAtHand packed;
  std::string unpack_folder;  ///< beside the job file, where they belong; empty: there are none
};
/// Recognises what lies in `folder`, or in the zip archive of that name; the job file is to be `out`. Nothing is
/// written.
FirstDraft first_draft(const std::string& folder, const std::string& out, const Stage& stage, Diagnostics& diagnostics);

/// Reads the draft as a job. A file that the board can be planned without, and that makes the job fail, is left out of
/// it with a CHECK. Returns a picture of what was understood; none where the job fails all the same, with its errors
/// told as ones that spoil the picture alone.
std::optional<std::string> try_draft(FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                     Diagnostics& diagnostics);

/// A picture of what a first job says of its release, as SVG; none where the job cannot be read, with its errors.
std::optional<std::string> preview_of(const FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                      Diagnostics& diagnostics);

/// Writes the files that lie in archives alone beside the job file. A file that stands there already must have the same
/// bytes, and nothing on the way may be a link: otherwise an error, and nothing is written.
void write_packed(const FirstDraft& draft, const std::string& job_file, Diagnostics& diagnostics);

}  // namespace teasel::pipeline
