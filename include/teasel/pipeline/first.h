// The first job for a folder of release files.
#pragma once
#include <optional>
#include <string>

#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

struct FirstDraft {
  Job job;           ///< paths relative to the job file
  std::string text;  ///< of the job file, each inferred value under its evidence
};
/// Recognises what lies in `folder`; the job file is to be `out`, which is not written.
FirstDraft first_draft(const std::string& folder, const std::string& out, const Stage& stage, Diagnostics& diagnostics);

/// A picture of what a first job makes of the release, by reading its text as a job. Errors on the way are told as ones
/// that spoil the picture alone; then there is none.
std::optional<std::string> preview_of(const FirstDraft& draft, const std::string& job_file, const Stage& stage,
                                      Diagnostics& diagnostics);

}  // namespace teasel::pipeline
