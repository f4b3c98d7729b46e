#include "teasel/formats/input_formats.h"

#include <algorithm>

#include "teasel/enums.h"
#include "teasel/formats/bench.h"
#include "teasel/formats/bodies.h"
#include "teasel/formats/bsdl.h"
#include "teasel/formats/drill.h"
#include "teasel/formats/gerber.h"
#include "teasel/formats/gerber_job.h"
#include "teasel/formats/ipc2581.h"
#include "teasel/formats/netlist.h"
#include "teasel/formats/tables.h"
#include "teasel/formats/workbook.h"

namespace teasel::formats {

namespace {
bool anything(std::string_view) {
  return true;
}

template <auto Member, auto Read>
void into(std::string_view bytes, const std::string& name, LoneTables& tables, Diagnostics& diagnostics) {
  tables.*Member = Read(bytes, name, diagnostics);
}

constexpr Rows<FileKind, InputFormat> kFormats{
    {{FileKind::cad, "IPC-2581", "inputs.ipc2581.file", looks_like_ipc2581},
     {FileKind::idf_board, "IDF", "inputs.idf.board", looks_like_idf_board},
     {FileKind::idf_library, "IDF", "inputs.idf.library", looks_like_idf_library},
     {FileKind::job_file, "Gerber job files", "", looks_like_gerber_job},
     {FileKind::bsdl, "BSDL", "inputs.bsdl[].file", looks_like_bsdl},
     {FileKind::netlist, "Netlist", "inputs.netlist.file", looks_like_netlist},
     {FileKind::gerber, "Gerber layers", "inputs.gerber[].file", looks_like_gerber},
     {FileKind::drill_notes, "Drill files", "", looks_like_drill_notes},
     {FileKind::drill, "Drill files", "inputs.drill[].file", looks_like_drill},
     {FileKind::references, "Pad lists, reference points, readings", "inputs.references.file", looks_like_references},
     {FileKind::pads, "Pad lists, reference points, readings", "inputs.pads.file", looks_like_pad_list},
     {FileKind::continuity, "Pad lists, reference points, readings", "inputs.continuity.file", looks_like_continuity},
     {FileKind::placement, "Placement tables", "inputs.placement.files", looks_like_placement},
     {FileKind::heights, "Bills of materials and heights", "inputs.heights.file", looks_like_heights,
      into<&LoneTables::heights, read_heights>},
     {FileKind::bom, "Bills of materials and heights", "inputs.bom.file", looks_like_bom},
     {FileKind::other, "", "", anything}}};
}  // namespace

const std::vector<InputFormat>& input_formats() {
  static const std::vector<InputFormat> list(kFormats.begin(), kFormats.end());
  return list;
}

const InputFormat& format_of(FileKind kind) {
  return kFormats[kind];
}

namespace {
bool is_table(FileKind kind) {
  return kind == FileKind::netlist || (kind >= FileKind::references && kind < FileKind::other);
}
FileKind kind_of_sheet(const Sheet& sheet) {
  for (const InputFormat& format : kFormats)
    if (is_table(format.id) && format.looks_like(sheet.text)) return format.id;
  return FileKind::other;
}
}  // namespace

std::vector<FileKind> kinds_of(std::string_view bytes) {
  if (!is_workbook(bytes)) return {kind_of(bytes)};
  std::vector<FileKind> kinds;
  Diagnostics ignored;
  for (const Sheet& sheet : read_workbook(bytes, "", ignored))
    if (const FileKind kind = kind_of_sheet(sheet);
        kind != FileKind::other && std::find(kinds.begin(), kinds.end(), kind) == kinds.end())
      kinds.push_back(kind);
  if (kinds.empty() || ignored.failed()) return {FileKind::other};
  return kinds;
}

std::vector<std::string> sheets_of(std::string_view bytes, FileKind kind) {
  std::vector<std::string> names;
  Diagnostics ignored;
  for (const Sheet& sheet : read_workbook(bytes, "", ignored))
    if (is_table(kind) && format_of(kind).looks_like(sheet.text)) names.push_back(sheet.name);
  return names;
}

FileKind kind_of(std::string_view bytes) {
  if (is_workbook(bytes)) return kinds_of(bytes).front();
  const bool utf16 = bytes.starts_with("\xFF\xFE") || bytes.starts_with("\xFE\xFF");    // tables of spreadsheets
  if (!utf16 && bytes.substr(0, 256).find('\0') != bytes.npos) return FileKind::other;  // old files may end in NULs
  for (const InputFormat& format : kFormats)
    if (format.looks_like(bytes)) return format.id;
  return FileKind::other;
}

}  // namespace teasel::formats
