// Every kind of file that the program reads of a release: one row each.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/formats/tables.h"

namespace teasel::formats {

/// In the order in which a file is asked what it is: what states itself clearly comes first.
enum class FileKind : std::uint8_t {
  cad,
  idf_board,
  idf_library,
  job_file,
  bsdl,
  netlist,
  gerber,
  drill_notes,
  drill,
  references,
  pads,
  continuity,
  placement,
  heights,
  bom,
  other
};

struct InputFormat {
  FileKind id{};
  const char* name;     ///< as the manual's page on formats heads it
  const char* job_key;  ///< that names such a file in a job; empty: it is read beside other files, when a job is begun
  bool (*looks_like)(std::string_view bytes);
  /// Of a format whose key says all, JobInputs::lone_files: reads it. `start` takes such a file, and a run reads it, by
  /// this row alone.
  void (*read)(std::string_view bytes, const std::string& name, LoneTables& tables, Diagnostics& diagnostics) = nullptr;
};
/// In the order of the enumerators; the last one, `other`, fits everything.
const std::vector<InputFormat>& input_formats();
const InputFormat& format_of(FileKind kind);
/// What a file is by its content alone. A workbook is what its first sheet of a known kind is.
FileKind kind_of(std::string_view bytes);
/// The same for a file that can be several things: a workbook is each kind of table that a sheet of it holds. Never
/// empty.
std::vector<FileKind> kinds_of(std::string_view bytes);
/// The names of a workbook's sheets that hold a table of this kind.
std::vector<std::string> sheets_of(std::string_view bytes, FileKind kind);

}  // namespace teasel::formats
