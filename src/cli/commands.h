// What each command does; what it returns is the exit status.
#pragma once
#include <string>

#include "layers.h"

namespace teasel::cli {

inline constexpr int kDone = 0;
inline constexpr int kFailed = 1;
inline constexpr int kUnmet = 2;

struct Common {
  bool json = false, verbose = false, quiet = false;
};

int start(const std::string& folder, const std::string& out, bool force, const Common& c);
int check(const std::string& job_file, const Common& c);
int nets(const std::string& job_file, const std::string& folder, const Common& c);
int bench(const std::string& job_file, const std::string& folder, const Common& c);
int layers(const LayersWanted& wanted, const Common& c);
struct JobWanted {
  std::string job_file;
  std::string old_plan;  ///< of the fixture that stands; empty: a new one
  std::string folder, explain;
  double time_limit = 0;  ///< seconds; 0: the job's
  bool whole = false;     ///< the plan and all its files; else the audit
  bool proof = false, mechanics = true;
};
int view(const std::string& path, const std::string& out, int port, bool mechanics, const Common& c);
int run_job(JobWanted wanted, const Common& c);

}  // namespace teasel::cli
