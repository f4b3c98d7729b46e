#include "teasel/formats/tables.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <initializer_list>
#include <map>

#include "teasel/formats/gerber.h"
#include "teasel/units.h"
#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kPlacementNames = {
    "ref",         "refdes",    "reference", "designator", "partdesignator",
    "component",   "compname",  "refid",     "posx",       "positionx",
    "midx",        "centerx",   "xcoord",    "x",          "symx",
    "locationx",   "posy",      "positiony", "midy",       "centery",
    "ycoord",      "y",         "symy",      "locationy",  "refx",
    "refy",        "padx",      "pady",      "dnp",        "fitted",
    "populate",    "mounted",   "rot",       "rotation",   "angle",
    "orientation", "symrotate", "theta",     "side",       "layer",
    "tb",          "topbottom", "mirror",    "boardside",  "symmirror"};

/// 0 top, 1 bottom, -1 blank, -2 not understood.
int side_of(std::string_view text, bool mirror_column) {
  const std::string k = header_key(text);
  if (mirror_column) {
    for (const char* yes : {"yes", "y", "m", "true", "1", "mirrored", "mirror", "bottom"})
      if (k == yes) return 1;
    for (const char* no : {"no", "n", "false", "0", "none", "top", ""})
      if (k == no) return 0;
    return -2;
  }
  for (const char* top :
       {"top", "t", "toplayer", "topside", "f", "fcu", "front", "componentside", "primary", "primaryside"})
    if (k == top) return 0;
  for (const char* bottom : {"bottom", "b", "bot", "bottomlayer", "bottomside", "bcu", "back", "solder", "solderside",
                             "secondary", "secondaryside"})
    if (k == bottom) return 1;
  return k.empty() ? -1 : -2;
}

/// A side in the file's name, where no column tells: a weak sign, proven or not by the pads.
int side_of_name(const std::string& name) {
  std::string low = name.substr(name.rfind('/') + 1);
  for (char& c : low) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  const bool bottom = low.find("bottom") != low.npos || low.find("-bot.") != low.npos ||
                      low.find("_bot.") != low.npos || low.ends_with(".mnb");
  const bool top = low.find("-top") != low.npos || low.find("_top") != low.npos || low.find(".top") != low.npos ||
                   low.ends_with(".mnt");
  return top == bottom ? -1 : bottom ? 1 : 0;
}
}  // namespace

namespace {
/// A table without a header: reference, x, y, rotation in that order, then text. Nine lines of ten must look so.
std::optional<TextTable> headerless(std::string_view bytes, const std::string& name) {
  TextTable t;
  t.name = name;
  t.separator = ' ';
  t.header = {"Ref", "X", "Y", "Rot", "Package"};
  std::uint32_t line = 0;
  std::size_t others = 0;
  while (!bytes.empty() && t.rows.size() < 2'000'000) {
    const std::string_view l = trim(next_line(bytes));
    ++line;
    if (l.empty()) continue;
    std::vector<std::string> w;
    for (std::string_view part : split(l, l.find('\t') != l.npos ? '\t' : ' '))
      if (!trim(part).empty()) w.emplace_back(trim(part));
    double v{};
    const bool row = w.size() >= 4 && w[0].size() <= 12 && std::isalpha(static_cast<unsigned char>(w[0][0])) &&
                     std::any_of(w[0].begin(), w[0].end(), [](unsigned char c) { return std::isdigit(c); }) &&
                     number(w[1], v) && number(w[2], v) && number(w[3], v) && v >= -360 && v <= 360;
    if (!row) {
      if (t.rows.empty())
        t.preamble.emplace_back(l);
      else
        ++others;
      if (others > 5 + t.rows.size() / 9 || t.preamble.size() > 60) return std::nullopt;
      continue;
    }
    for (std::size_t i = 5; i < w.size(); ++i) w[4] += " " + w[i];
    w.resize(5);
    t.rows.push_back(std::move(w));
    t.lines.push_back(line);
  }
  if (t.rows.size() < 5 || others * 9 > t.rows.size()) return std::nullopt;
  return t;
}
}  // namespace

bool looks_like_placement(std::string_view bytes) {
  if (headerless(bytes.substr(0, bytes.size() > 20'000 ? bytes.substr(0, 20'000).rfind('\n') : bytes.size()), ""))
    return true;
  auto t = read_table(bytes.substr(0, 20'000), "", kPlacementNames, 4);
  return t && find_column(*t, {"designator", "refdes", "reference", "ref", "component", "refid"}) >= 0 &&
         find_column(
             *t, {"midx", "centerx", "posx", "positionx", "x", "symx", "xcoord", "locationx", "refx", "padx"}) >= 0 &&
         !t->rows.empty();
}

Placement read_placement(std::string_view bytes, const std::string& name, Diagnostics& d) {
  if (looks_like_gerber(bytes)) {
    const GerberFile f = read_gerber(bytes, name, d);
    return d.failed() ? Placement{} : placement_of_gerber(f, d);
  }
  Placement p;
  p.name = name;
  auto table = read_table(bytes, name, kPlacementNames, 4);
  if (!table && (table = headerless(bytes, name)))
    d.note("placement-headerless", {name, 0, 0, {}},
           "the table has no header: its columns are read as reference, x, y, rotation",
           std::to_string(table->rows.size()) + " rows", "add a header row to overrule");
  if (!table) {
    d.error("placement-no-header", {name, 1, 0, {}}, "no header row with component, x, y, rotation or side was found",
            {}, "a header such as  Ref,Val,Package,PosX,PosY,Rot,Side", "add a header row");
    return p;
  }
  const TextTable& t = *table;
  const int ref =
      find_column(t, {"designator", "refdes", "reference", "ref", "component", "refid", "partdesignator", "compname"});
  const int x =
      find_column(t, {"midx", "centerx", "posx", "positionx", "x", "symx", "xcoord", "locationx", "refx", "padx"});
  const int y =
      find_column(t, {"midy", "centery", "posy", "positiony", "y", "symy", "ycoord", "locationy", "refy", "pady"});
  const int rot = find_column(t, {"rotation", "rot", "angle", "orientation", "symrotate", "theta"});
  const int side = find_column(t, {"side", "layer", "tb", "topbottom", "boardside"});
  const int mirror = find_column(t, {"mirror", "symmirror"});
  const int height = find_column(t, {"height", "heightmm", "symheight"});
  const int dnp = find_column(t, {"dnp", "dnf", "dni"}), fitted = find_column(t, {"fitted", "populate", "mounted"});
  const int value = find_column(t, {"value", "val", "comment"}),
            package = find_column(t, {"package", "footprint", "pattern", "symname"});
  if (ref < 0 || x < 0 || y < 0) {
    d.error("placement-no-header", {name, 1, 0, {}}, "the header lacks a component, x or y column", {}, {},
            "name the columns");
    return p;
  }
  double scale = 1;
  auto settle = [&](std::string_view unit, const std::string& evidence) {
    if (auto s = unit_scale(unit); s && !p.has_unit) {
      scale = *s;
      p.has_unit = true;
      p.unit_evidence = evidence;
    }
  };
  const std::string& head = t.header[static_cast<std::size_t>(x)];
  if (const std::size_t at = head.find_first_of("(["); at != head.npos)
    settle(head.substr(at + 1), "column header '" + head + "'");
  for (const auto& l : t.preamble)
    for (std::string_view key : {"Unit =", "Unit:", "Units used:", "Units:", "UNITS =", "UUNITS ="})
      if (const std::size_t at = l.find(key); at != l.npos) {
        std::string_view u = trim(std::string_view(l).substr(at + key.size()));
        settle(u.substr(0, u.find_first_of(", ;")), "'" + l.substr(0, 60) + "'");
      }
  if (!whole(t, d)) return p;
  const double y_scale = header_unit(t, y, d).value_or(0), height_scale = header_unit(t, height, d).value_or(0);
  int file_side = -1;
  for (const auto& l : t.preamble)
    if (const std::size_t at = l.find("## Side :"); at != l.npos)
      file_side = side_of(trim(std::string_view(l).substr(at + 9)), false);
  if (file_side < 0 && side < 0 && mirror < 0 && (file_side = side_of_name(name)) >= 0)
    d.note("placement-side-by-name", {name, 0, 0, {}},
           std::string("no column tells the side of parts; by its name the table is of the ") +
               (file_side ? "bottom" : "top"),
           {}, "overrule in  [components] side");
  int complaints = 0;
  std::size_t odd_sides = 0;
  std::string odd;
  std::uint32_t odd_line = 0;
  for (std::size_t i = 0; i < t.rows.size(); ++i) {
    PlacementRow r;
    r.component = cell(t, i, ref);
    if (r.component.empty()) continue;
    const std::string xs = cell(t, i, x), ys = cell(t, i, y);
    auto vx = length_cell(xs, t.separator, scale), vy = length_cell(ys, t.separator, y_scale > 0 ? y_scale : scale);
    if (!vx || !vy) {
      if (complaints++ < 5)
        d.error("placement-bad-number", {name, t.lines[i], 0, {}}, "a position cannot be read", xs + " , " + ys, {},
                "correct the line");
      continue;
    }
    if (!p.has_unit && xs.find_first_not_of("+-.,0123456789eE ") != xs.npos) {
      p.has_unit = true;
      p.unit_evidence = "unit on each value";
    }
    r.x = *vx;
    r.y = *vy;
    r.line = t.lines[i];
    if (auto a = length_cell(cell(t, i, rot), t.separator, 1.0)) r.rotation = *a;
    r.side = side >= 0 ? side_of(cell(t, i, side), false) : mirror >= 0 ? side_of(cell(t, i, mirror), true) : file_side;
    if (r.side == -2) {
      r.side = -1;
      if (odd_sides++ == 0) {
        odd = cell(t, i, side >= 0 ? side : mirror);
        odd_line = t.lines[i];
      }
    }
    r.value = cell(t, i, value);
    r.package = cell(t, i, package);
    // A height without a unit of its own has that of the places; where they have none it is not believed.
    if (auto h = length_cell(cell(t, i, height), t.separator, height_scale > 0 ? height_scale : scale);
        h && *h > 0 && (height_scale > 0 || p.has_unit))
      r.height = *h;
    if (dnp >= 0)
      r.fitted = fitted_cell(cell(t, i, dnp), true).value_or(true);
    else if (fitted >= 0)
      r.fitted = fitted_cell(cell(t, i, fitted), false);
    p.rows.push_back(std::move(r));
  }
  if (odd_sides)
    d.warn("placement-side", {name, odd_line, 0, {}}, "the side of parts is not understood; it follows their pads",
           std::to_string(odd_sides) + " rows, first '" + odd + "'", "top or bottom");
  return p;
}

namespace {
const std::vector<std::string> kHeightNames = {"component", "refdes", "designator", "ref", "heightmm", "height"};
}  // namespace

bool looks_like_heights(std::string_view bytes) {
  auto t = read_table(bytes.substr(0, 20'000), "", kHeightNames, 2);
  return t && find_column(*t, {"heightmm", "height"}) >= 0 &&
         find_column(*t, {"component", "refdes", "designator", "ref"}) >= 0 &&
         find_column(*t, {"x", "xmm", "midx", "posx", "centerx"}) < 0;
}

std::vector<HeightRow> read_heights(std::string_view bytes, const std::string& name, Diagnostics& d) {
  std::vector<HeightRow> rows;
  auto t = read_table(bytes, name, kHeightNames, 2);
  if (!t) {
    d.error("heights-no-header", {name, 1, 0, {}}, "no header row with component and height_mm", {},
            "component,height_mm", "add the header row");
    return rows;
  }
  const int ref = find_column(*t, {"component", "refdes", "designator", "ref"}),
            h = find_column(*t, {"heightmm", "height"});
  if (!whole(*t, d, true)) return rows;
  const double scale = header_unit(*t, h, d).value_or(1.0);
  for (std::size_t i = 0; i < t->rows.size(); ++i) {
    auto v = length_cell(cell(*t, i, h), t->separator, scale);
    if (!v || *v < 0 || *v > 300) {
      d.error("heights-bad-number", {name, t->lines[i], 0, {}}, "a height cannot be read", cell(*t, i, h),
              "0 to 300 mm", "correct the line");
      continue;
    }
    rows.push_back({cell(*t, i, ref), *v, t->lines[i]});
  }
  return rows;
}

}  // namespace teasel::formats
