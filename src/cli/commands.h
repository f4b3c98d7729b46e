// What each command does; what it returns is the exit status.
#pragma once
#include <string>

#include "layers.h"

namespace teasel::cli {

inline constexpr int kDone = 0, kFailed = 1, kUnmet = 2;

struct Common {
  bool json = false, verbose = false, quiet = false;
};

int start(const std::string& folder, const std::string& out, bool force, const Common& c);
int check(const std::string& job_file, const Common& c);
int nets(const std::string& job_file, const std::string& folder, const Common& c);
int bench(const std::string& job_file, const std::string& folder, const Common& c);
int layers(const LayersWanted& wanted, const Common& c);
/// `whole`: the plan and all its files; else the audit.
int run_job(const std::string& job_file, std::string folder, double time_limit, bool whole, bool proof, bool mechanics, const std::string& explain, const Common& c);

}  // namespace teasel::cli
