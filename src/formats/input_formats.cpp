#include "teasel/formats/input_formats.h"

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

FileKind kind_of(std::string_view bytes) {
  const bool utf16 = bytes.starts_with("\xFF\xFE") || bytes.starts_with("\xFE\xFF");    // tables of spreadsheets
  if (!utf16 && bytes.substr(0, 256).find('\0') != bytes.npos) return FileKind::other;  // old files may end in NULs
  for (const InputFormat& format : kFormats)
    if (format.looks_like(bytes)) return format.id;
  return FileKind::other;
}

}  // namespace teasel::formats
