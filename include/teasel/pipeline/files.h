// Files in and out: reading, hashing, and writing a folder whole or not at all.
#pragma once
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/board.h"
#include "teasel/diagnostics.h"

namespace teasel::pipeline {

/// `named_in`: the place that names the file, said where there is none.
std::optional<std::string> read_file(const std::filesystem::path& path, const std::string& shown, Diagnostics& d,
                                     const Place& named_in = {});
/// The file's text in UTF-8: a mark of byte order goes, UTF-16 with such a mark is converted. Text that breaks off in
/// the middle of a letter, or that holds the marks of a merge that was not finished, is an error.
std::optional<std::string> as_text(std::string bytes, const std::string& shown, Diagnostics& d);
/// The bytes are text in UTF-16, by their mark.
bool is_utf16(std::string_view bytes);
/// Files of a folder and its subfolders (four levels, hidden ones and earlier plan folders left out), by name, as
/// text. A file whose name is no UTF-8, which a job file cannot name, is left out with a warning.
std::vector<FolderFile> read_folder(const std::filesystem::path& folder, Diagnostics& d);
std::string sha256(std::string_view bytes);

/// Writes all files into `folder`: into a sibling first, then swapped in by one rename. A folder that holds anything
/// this program did not write is refused.
void write_folder(const std::filesystem::path& folder, const std::map<std::string, std::string>& files, Diagnostics& d);
/// Writes one file beside its target and renames it.
void write_file(const std::filesystem::path& path, const std::string& bytes, Diagnostics& d);

}  // namespace teasel::pipeline
