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

inline constexpr std::size_t kLargestInput = 200'000'000;  ///< bytes of one file, unpacked
inline constexpr std::size_t kMostInputs = 250'000'000;    ///< bytes of a release, or of all inputs of a job

/// True where a text holds 4096 NUL bytes in a row: a file that was never written to its end.
bool holds_gap(std::string_view bytes);
/// `named_in`: the place that names the file, said where there is none.
std::optional<std::string> read_file(const std::filesystem::path& path, const std::string& shown, Diagnostics& d,
                                     const Place& named_in = {});
/// The file's text in UTF-8: a mark of byte order goes, UTF-16 with such a mark is converted. Text that breaks off in
/// the middle of a letter, or that holds the marks of a merge that was not finished, is an error.
std::optional<std::string> as_text(std::string bytes, const std::string& shown, Diagnostics& d);
/// The bytes are text in UTF-16, by their mark.
bool is_utf16(std::string_view bytes);
/// Whether the path is a folder or a zip archive: a release, not a job file.
bool is_release(const std::filesystem::path& path);
/// Files of a folder and its subfolders (four levels, hidden ones and earlier plan folders left out), by name; then
/// what lies in zip archives among them, as "release.zip/top.gbr". In place of the folder a zip archive may be given.
/// As text; a file whose name is no UTF-8, which a job file cannot name, is left out with a warning.
std::vector<FolderFile> read_folder(const std::filesystem::path& folder, Diagnostics& d);
std::string sha256(std::string_view bytes);

/// Writes all files into `folder`: into a folder beside it first, which takes its place in one step once all data are
/// on the disk; file by file where that cannot be. An earlier run's files are replaced. Files that somebody put there
/// stay, files that somebody changed are kept below `kept`, and what was measured is carried into the new verify.csv.
/// Refused are folders that hold no earlier run, and the folder of a plan that was built.
void write_folder(const std::filesystem::path& folder, const std::map<std::string, std::string>& files, Diagnostics& d);
/// The same question without writing: false, with an error, where write_folder() would refuse.
bool may_write_folder(const std::filesystem::path& folder, Diagnostics& d);
/// Writes one file beside its target and renames it once its data are on the disk. A link stays a link, and a file that
/// is replaced keeps its permissions. A device or pipe is written to, not replaced.
void write_file(const std::filesystem::path& path, const std::string& bytes, Diagnostics& d);
/// True for a device, a pipe or a socket, also behind links, and for every name of the standard streams.
bool is_stream(const std::filesystem::path& path);

}  // namespace teasel::pipeline
