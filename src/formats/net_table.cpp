#include "teasel/formats/net_table.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "teasel/formats/bench.h"
#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const Keys kNet = {"net", "netname", "signal", "signalname", "netz", "netzname"};
const Keys kComponent = {"component", "refdes",        "reference", "designator", "ref",
                         "part",      "componentname", "bauteil",   "bezeichner"};
const Keys kPin = {"pin", "pinnumber", "pinno", "pinnum", "pad", "padnumber", "padname", "pinname"};
const Keys kHole = {"drill", "drillmm", "hole", "holesize", "holediameter", "drillsize", "bohrung"};
const Keys kWidth = {"width", "widthmm", "padwidth", "xsize", "sizex", "padsizex", "diameter"};
const Keys kHeight = {"height", "heightmm", "padheight", "ysize", "sizey", "padsizey"};
constexpr int kMostComplaints = 10;

const std::vector<std::string>& names() {
  static const std::vector<std::string> all = [] {
    std::vector<std::string> list;
    for (const Keys& keys : {kNet, kComponent, kPin, kXKeys, kYKeys, kSideKeys, kHole, kWidth, kHeight})
      list.insert(list.end(), keys.begin(), keys.end());
    return list;
  }();
  return all;
}

/// Nets by pin, with or without places; lists that this program writes are left out.
std::optional<TextTable> table_of_nets(std::string_view bytes, const std::string& name) {
  auto table = read_table(bytes, name, names(), 3);
  if (!table || table->rows.empty() || find_column(*table, kNet) < 0 || find_column(*table, kPin) < 0 ||
      find_column(*table, {"probe", "target"}) >= 0 || is_bench_output(bytes))
    return std::nullopt;
  return table;
}

/// Millimetres of one unit of a column: by its header, by its cells, or by a line above the table.
std::optional<double> scale_of(const TextTable& table, int column) {
  if (column < 0) return std::nullopt;
  const std::string& head = table.header[static_cast<std::size_t>(column)];
  if (const std::size_t bracket = head.find_first_of("(["); bracket != head.npos)
    if (const auto scale = unit_scale(trim(std::string_view(head).substr(bracket + 1)))) return scale;
  for (const char* unit : {"mm", "mil", "inch"})
    if (header_key(head).ends_with(unit)) return unit_scale(unit);
  for (const std::string& line : table.preamble)
    if (const auto scale = unit_scale(stated_unit(line))) return scale;
  return std::nullopt;
}
bool cells_have_units(const TextTable& table, int column) {
  const std::string first = cell(table, 0, column);
  return !first.empty() && std::isalpha(static_cast<unsigned char>(first.back())) &&
         length_cell(first, table.separator, 1.0).has_value();
}

std::string missing(const TextTable& table) {
  std::string out;
  auto lacks = [&](const Keys& keys, const char* what) {
    if (find_column(table, keys) < 0) out += (out.empty() ? "" : ", ") + std::string(what);
  };
  lacks(kXKeys, "x");
  lacks(kYKeys, "y");
  lacks(kSideKeys, "side");
  const int x = find_column(table, kXKeys);
  if (x >= 0 && !scale_of(table, x) && !cells_have_units(table, x))
    out += (out.empty() ? "" : ", ") + std::string("the unit of x and y");
  return out;
}

class NetTableReader {
 public:
  NetTableReader(const TextTable& table, Diagnostics& diagnostics)
      : table_(table),
        diagnostics_(diagnostics),
        net_(find_column(table, kNet)),
        component_(find_column(table, kComponent)),
        pin_(find_column(table, kPin)),
        x_(find_column(table, kXKeys)),
        y_(find_column(table, kYKeys)),
        side_(find_column(table, kSideKeys)),
        hole_(find_column(table, kHole)),
        width_(find_column(table, kWidth)),
        height_(find_column(table, kHeight)) {}
  Netlist run();

 private:
  void read_row(std::size_t i);
  bool side(std::size_t i, NetlistRecord& record);
  std::optional<double> length(std::size_t i, int column) const {
    const double scale = scale_of(table_, column).value_or(scale_of(table_, x_).value_or(1));
    return length_cell(cell(table_, i, column), table_.separator, scale);
  }
  /// A size that may be missing; zero counts as none.
  std::optional<Mm> size(std::size_t i, int column) const {
    const auto value = column < 0 ? std::nullopt : length(i, column);
    return value && *value > 0 ? std::optional(Mm{*value}) : std::nullopt;
  }
  void bad(std::size_t i, const char* what, const std::string& found, const char* expected) {
    if (complaints_++ < kMostComplaints)
      diagnostics_.error({.code = "netlist-table-cell",
                          .at = {table_.name, table_.lines[i], 0, {}},
                          .message = what,
                          .found = found,
                          .expected = expected,
                          .remedy = "correct the line, or export an IPC-D-356 netlist"});
  }

  const TextTable& table_;
  Diagnostics& diagnostics_;
  int net_, component_, pin_, x_, y_, side_, hole_, width_, height_;
  Netlist netlist_;
  int complaints_ = 0;
};

/// The side of the land, and whether it goes through the board.
bool NetTableReader::side(std::size_t i, NetlistRecord& record) {
  const std::string text = cell(table_, i, side_), word = header_key(text);
  const bool through = word == "both" || word == "all" || word.find("thr") != word.npos ||
                       word.find("multi") != word.npos || word == "tht" || word == "pth";
  const SideCell said = through ? SideCell{} : side_in(text, false);
  if (!through && !said.side) {
    bad(i, "the side of a pin cannot be read", text, "top, bottom or both");
    return false;
  }
  const bool drilled = through || (record.hole && *record.hole > Mm{});
  record.kind = drilled ? NetlistRecord::Kind::through : NetlistRecord::Kind::surface;
  record.access = drilled ? 0 : said.side == Side::top ? 1 : 2;
  return true;
}

void NetTableReader::read_row(std::size_t i) {
  NetlistRecord record;
  record.net = cell(table_, i, net_);
  record.component = cell(table_, i, component_);
  record.pin = cell(table_, i, pin_);
  if (component_ < 0) {
    const std::size_t mark = record.pin.find_last_of(".-");  // "U1.3", "U1-3"
    record.component = record.pin.substr(0, mark);
    record.pin = mark == record.pin.npos ? "" : record.pin.substr(mark + 1);
  }
  if (record.net.empty() && record.component.empty()) return;
  const std::string key = header_key(record.net);
  record.unconnected = key.empty() || key == "nc" || key == "nonet" || key == "unconnected";
  if (record.component.empty() || header_key(record.component) == "via") record.component = "VIA";
  const auto x = length(i, x_), y = length(i, y_);
  if (!x || !y || std::abs(*x) > 1e4 || std::abs(*y) > 1e4)
    return bad(i, "the place of a pin cannot be read", cell(table_, i, x_) + " , " + cell(table_, i, y_),
               "two numbers");
  record.at = NetlistPoint(Point{*x, *y});
  record.hole = size(i, hole_);
  record.width = size(i, width_);
  record.height = size(i, height_);
  record.line = table_.lines[i];
  if (side(i, record)) netlist_.records.push_back(std::move(record));
}

Netlist NetTableReader::run() {
  netlist_.name = table_.name;
  netlist_.unit = NetlistUnit::mm_001;
  netlist_.unit_stated = true;
  if (!whole(table_, diagnostics_)) return std::move(netlist_);
  for (std::size_t i = 0; i < table_.rows.size(); ++i) read_row(i);
  if (netlist_.records.empty() && !diagnostics_.failed())
    diagnostics_.error({.code = "netlist-table-empty",
                        .at = {table_.name, 1, 0, {}},
                        .message = "the table of nets holds no pin",
                        .remedy = "check that this is the right table"});
  return std::move(netlist_);
}
}  // namespace

bool looks_like_net_table(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 20'000);
  const auto table = table_of_nets(head, "");
  return table && missing(*table).empty() && !looks_like_pad_list(head);
}

std::string incomplete_net_table(std::string_view bytes) {
  const auto table = table_of_nets(bytes.substr(0, 20'000), "");
  const std::string lacks = table ? missing(*table) : "";
  return lacks.empty() ? "" : "a table of nets without " + lacks;
}

Netlist read_net_table(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_net_table, read_net_table, diagnostics);
  if (const auto table = table_of_nets(bytes, name); table && missing(*table).empty())
    return NetTableReader(*table, diagnostics).run();
  diagnostics.error({.code = "netlist-table-header",
                     .at = {name, 1, 0, {}},
                     .message = "the file is neither an IPC-D-356 netlist nor a table of nets",
                     .expected = "columns such as  Net,Component,Pin,X (mm),Y (mm),Side",
                     .remedy = "add the columns, or export an IPC-D-356 netlist"});
  return {};
}

}  // namespace teasel::formats
