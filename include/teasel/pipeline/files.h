// Files in and out: reading, hashing, and writing a folder whole or not at all.
#pragma once
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/diagnostics.h"

namespace teasel::pipeline {

/// `named_in`: the place that names the file, said where there is none.
std::optional<std::string> read_file(const std::filesystem::path& path, const std::string& shown, Diagnostics& d,
                                     const Place& named_in = {});
/// Whether the path is a folder or a zip archive: a release, not a job file.
bool is_release(const std::filesystem::path& path);
/// Files of a folder and its subfolders (four levels, hidden ones and earlier plan folders left out), by name; then
/// what lies in zip archives among them, as "release.zip/top.gbr". In place of the folder a zip archive may be given.
std::vector<FolderFile> read_folder(const std::filesystem::path& folder, Diagnostics& d);
std::string sha256(std::string_view bytes);

/// Writes all files into `folder`: into a sibling first, then swapped in by one rename. A folder that holds anything
/// this program did not write is refused.
void write_folder(const std::filesystem::path& folder, const std::map<std::string, std::string>& files, Diagnostics& d);
/// Writes one file beside its target and renames it.
void write_file(const std::filesystem::path& path, const std::string& bytes, Diagnostics& d);

}  // namespace teasel::pipeline
