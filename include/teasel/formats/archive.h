// Zip archives of a release: their files, within limits, under names that lead nowhere else.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"

namespace teasel::formats {

/// Begins as a zip does.
bool is_zip(std::string_view bytes);
/// An archive that holds files for people: a zip that is no document of an office or other program in disguise.
bool is_archive(std::string_view bytes);
/// The name of an archive format that is not read ("7z"), by the first bytes; empty: none of those.
std::string other_archive(std::string_view bytes);
/// What a file manager or an operating system leaves behind, by the path: passed over without a word.
bool is_dropping(std::string_view path);

struct ArchiveFile {
  std::string name;  ///< path inside the archive, with slashes; files of an archive in it: "inner.zip/top.gbr"
  std::string bytes;
};
/// What may still be unpacked. All archives of a release share one.
struct ArchiveAllowance {
  std::size_t files = 2000;
  std::size_t bytes = 1'000'000'000;
};
/// The files of an archive and of archives in it, three deep, by name. Folders, hidden files and droppings are passed
/// over. What is encrypted, damaged, too large, a link, or named so that it would lie outside is left out with a
/// warning; an archive that cannot be read, or goes beyond the allowance, as a whole.
/// `name`: of the archive, for findings.
std::vector<ArchiveFile> read_archive(std::string_view bytes, const std::string& name, ArchiveAllowance& allowance,
                                      Diagnostics& diagnostics);

}  // namespace teasel::formats
