// Excellon and XNC drill files. Numbers are kept as written until the format is settled, because many files do not
// state theirs. Frame: the file's own, seen from the top; millimetres after conversion.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel::formats {

enum class ZeroRule : std::uint8_t { leading_kept, trailing_kept };  ///< LZ, TZ: which zeros are kept
enum class Plating : std::uint8_t { unknown, plated, unplated };

struct DrillFormat {
  bool millimetres = false;
  ZeroRule zeros = ZeroRule::trailing_kept;
  int integer_digits = 2, decimals = 4;
  bool operator==(const DrillFormat&) const = default;
};
std::string to_string(const DrillFormat& format);  ///< "inch 2.4, trailing zeros kept"

/// A coordinate as it stands in the file.
struct DrillNumber {
  std::int64_t digits{};
  std::uint8_t count{};    ///< digits written, sign and point not counted
  std::int8_t point = -1;  ///< digits behind a decimal point; -1 = no point written
};

struct DrillTool {
  int number{};
  std::optional<Mm> diameter;
  Plating plating{};
  std::string function;  ///< .AperFunction without its plating part
  std::uint32_t line{};
  int stated_count = -1;        ///< holes announced in a comment
  bool size_unit_open = false;  ///< its size stood before any unit: taken as inch, to be scaled if the file is metric
};

/// One command of the body, coordinates as written.
struct DrillOp {
  enum class Kind : std::uint8_t {
    hit,
    repeat,  ///< repeat: `count` further hits, each a step of x, y from the one before
    slot,    ///< G85, from x, y to x2, y2
    move,
    line,
    arc,
    circle,  ///< routing: to x, y; arcs by radius i or by centre offset i, j; circle: centre x, y, radius i
    zero,    ///< G93: following coordinates count from here
    pattern_begin,
    pattern_end,
    pattern_repeat,
    patterns_off  ///< M25, M01, M02 X Y, M08
  };
  Kind kind{};
  bool clockwise = false, by_radius = false;
  bool relative = false;  ///< incremental input: x, y count from the last place
  bool has_x = false, has_y = false, has_x2 = false, has_y2 = false;  ///< a missing axis keeps its value
  std::uint32_t tool{};                                               ///< index into tools
  std::uint32_t count = 1;                                            ///< of a repeat
  std::uint32_t line{};
  DrillNumber x, y, x2, y2, i, j;
};

/// True for what removes material; only such commands have a tool.
inline bool cuts(DrillOp::Kind k) {
  using Kind = DrillOp::Kind;
  return k == Kind::hit || k == Kind::repeat || k == Kind::slot || k == Kind::line || k == Kind::arc ||
         k == Kind::circle;
}

struct DrillFile {
  std::string name;
  DrillFormat format;
  bool unit_stated = false, zeros_stated = false, digits_stated = false;
  bool has_points = false, has_integers = false;
  std::vector<DrillTool> tools;
  std::vector<DrillOp> ops;
  std::size_t holes = 0, slots = 0, routs = 0;  ///< hits with repeats, G85 slots, routed strokes
  Plating plating{};                            ///< of the whole file, from attributes or comments
  int first_layer = 0, last_layer = 0;          ///< from attributes; 0 = not stated
  int shortest = 99, longest = 0;               ///< digits written, over coordinates without a point
};

struct Hole {
  Point at, end;  ///< end differs for slots
  Mm diameter;
  Plating plating{};
  std::string function;
  std::uint32_t line{};
  bool slot = false, routed = false;    ///< a routed path comes as one slot a chord
  int first_layer = 0, last_layer = 0;  ///< 0 = through
};

bool looks_like_drill(std::string_view bytes);
/// Reads a drill program, or a Gerber file whose .FileFunction says that it holds holes.
DrillFile read_drill(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);
/// Holes in millimetres under a format; repeats and patterns expanded, routed arcs as chords within kChord. At most
/// kMostHoles; what is beyond is left out (read_drill refuses such files).
std::vector<Hole> holes_of(const DrillFile& file, const DrillFormat& format);
inline constexpr std::size_t kMostHoles = 2'000'000;

struct GerberFile;
bool is_gerber_drill(const GerberFile& file);
DrillFile drill_of_gerber(const GerberFile& file, Diagnostics& diagnostics);

/// What side files say of a drill file: the layout tool's log (ncdrill.log, ncroute.log, nc_param.txt) or drill report
/// (.rpt). Diameters in millimetres.
struct DrillNotes {
  std::string name;
  std::optional<bool> millimetres;
  std::optional<int> integer_digits, decimals;
  std::optional<ZeroRule> zeros;  ///< both kinds of zeros written: trailing_kept
  bool routing = false;           ///< of a routing file
  std::vector<DrillTool> tools;
};
bool looks_like_drill_notes(std::string_view bytes);
DrillNotes read_drill_notes(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
