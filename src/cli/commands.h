// What each command does; what it returns is the exit status.
#pragma once
#include <string>

#include "layers.h"
#include "teasel/units.h"

namespace teasel::cli {

inline constexpr int kDone = 0;
inline constexpr int kFailed = 1;
inline constexpr int kUnmet = 2;

/// What every command takes.
struct Common {
  bool json = false, verbose = false, quiet = false;
};

int start(const std::string& folder, const std::string& out, bool force, const Common& common);
int check(const std::string& job_file, const Common& common);
int nets(const std::string& job_file, const std::string& folder, const Common& common);
int bench(const std::string& job_file, const std::string& folder, const Common& common);
int layers(const LayersWanted& wanted, const Common& common);
/// What `audit`, `plan` and `respin` are asked for.
struct JobWanted {
  std::string job_file;
  std::string old_plan;  ///< of the fixture that stands; empty: a new fixture
  std::string folder;    ///< to write into; empty: the default of `plan` and `respin`, nothing for `audit`
  std::string explain;   ///< name or pattern of the nets to explain; empty: none
  Seconds time_limit;    ///< 0: the job's
  bool whole = false;    ///< the plan and all its files; else the audit
  bool proof = false, mechanics = true;
  bool release = false;  ///< a draft ends with the status of what was not reached
};
int view(const std::string& path, const std::string& out, int port, bool mechanics, const Common& common);
int run_job(JobWanted wanted, const Common& common);
/// `date`: of the mark; empty: today.
int built(const std::string& folder, const std::string& date, bool undo, const Common& common);
/// `job_file`: empty: it is looked for.
int verify(const std::string& folder, const std::string& job_file, const Common& common);

}  // namespace teasel::cli
