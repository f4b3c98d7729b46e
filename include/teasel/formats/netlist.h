// IPC-D-356 / 356A bare-board test netlists. Source: the column tables of IPC-D-356A as described in public application
// notes; behaviour of real writers where they differ.
// Frame: the file's own origin, seen from the primary (top) side, millimetres.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel::formats {

enum class NetlistUnit : std::uint8_t { inch_0001, mm_001 };  ///< one count: 0.0001 inch or 0.001 mm

struct NetlistRecord {
  enum class Kind : std::uint8_t { through, surface, tooling, blind_via };
  Kind kind{};
  bool continuation = false;   ///< 017, 027: belongs to the record before it
  bool unconnected = false;    ///< N/C or blank: a net of its own
  bool mid_point = false;      ///< M in column 32
  std::string net;             ///< aliases resolved
  std::string component, pin;  ///< "VIA" for vias; blank where none
  std::optional<Mm> hole;
  bool plated = true;
  int access = -1;  ///< 0 both sides, 1 top, n = that copper layer; -1 blank
  NetlistPoint at;
  std::optional<Mm> width, height;  ///< along the pad's own axes; height 0 or absent = round
  Degrees rotation;                 ///< counter-clockwise as written
  bool test_point = false;          ///< marked by the designer
  int mask_code = -1;               ///< S field, -1 absent
  int first_layer{}, last_layer{};  ///< 307: span
  std::uint32_t line{};
};

struct NetlistOutline {
  std::string name;
  std::vector<Ring> contours;  ///< centre lines, not closed explicitly
  std::uint32_t line{};
};

/// A conductor (record 378): strokes of one width on one layer.
struct NetlistConductor {
  std::string net;
  int layer{};
  Mm width, height;           ///< height 0 = round
  std::vector<Ring> strokes;  ///< polylines, not closed
  std::uint32_t line{};
};

struct Netlist {
  std::string name;
  NetlistUnit unit{};
  bool unit_stated = false;
  int stated_layers = 0;        ///< "Number of etch Layers" in comments; 0 = not stated
  std::optional<Mm> thickness;  ///< "Board Thickness" in comments
  std::vector<NetlistRecord> records;
  std::vector<NetlistOutline> outlines;
  std::vector<NetlistConductor> conductors;
  std::size_t aliases = 0;
  bool holes_in_mils = false;   ///< hole fields were in 0.001 inch, against the rule; they are converted
  std::size_t perhaps_cut = 0;  ///< net names that fill all 14 columns where the file has no aliases
};

bool looks_like_netlist(std::string_view bytes);
/// Reads the whole record set. `unit` overrides the file's own statement.
/// Errors: a field that is not where its column must be (the line is named); 999 missing; an alias that is also a net.
Netlist read_netlist(std::string_view bytes, const std::string& name, std::optional<NetlistUnit> unit,
                     Diagnostics& diagnostics);

}  // namespace teasel::formats
