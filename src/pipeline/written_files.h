// What stands in an output folder: what teasel wrote there, and what somebody made of it since.
#pragma once
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "open_folder.h"

namespace teasel::pipeline {

inline constexpr const char* kHashes = "teasel.sha256";  ///< every file that was written, as `sha256sum -c` reads it
inline constexpr const char* kPlan = "plan.json";
inline constexpr const char* kBuilt = "built.json";
inline constexpr const char* kKept = "kept";  ///< folder of the files that somebody changed, by the plan they belong to
inline constexpr std::uint64_t kLargestOutput = 300'000'000;  ///< bytes; a larger file counts as changed

/// What the folder itself says was written into it.
struct WrittenFiles {
  std::map<std::string, std::string> hashes;  ///< SHA-256 by path
  std::string plan_id;                        ///< letters and digits; empty where no plan was written
  bool by_name = false;                       ///< written before the hashes were: known by the names of its files alone
};
/// Nothing where teasel wrote no outputs into the folder.
std::optional<WrittenFiles> written_files(const OpenFolder& folder);

/// The files of a folder against what was written into it.
struct Stock {
  std::vector<FolderEntry> entries;
  std::vector<std::string> as_written, touched, missing, foreign;  ///< paths of files
};
/// Nothing where the folder cannot be listed; errno says why. A file that cannot be read counts as touched.
std::optional<Stock> take_stock(const OpenFolder& folder, const WrittenFiles& written);

/// The text of `teasel.sha256`.
std::string hashes_text(const std::map<std::string, std::string>& files);

}  // namespace teasel::pipeline
