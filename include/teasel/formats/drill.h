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
  std::optional<double> diameter;  ///< mm
  Plating plating{};
  std::string function;            ///< .AperFunction without its plating part
  std::uint32_t line{};
  int stated_count = -1;           ///< holes announced in a comment
};

struct DrillHit {
  std::uint32_t tool{};     ///< index into tools
  DrillNumber x, y;
  DrillNumber x2, y2;       ///< slots: second end
  bool slot = false;
  bool repeat = false;      ///< x, y are steps from the hit before
  std::uint32_t line{};
};

struct DrillFile {
  std::string name;
  DrillFormat format;
  bool unit_stated = false, zeros_stated = false, digits_stated = false;
  bool has_points = false, has_integers = false;
  std::vector<DrillTool> tools;
  std::vector<DrillHit> hits;
  Plating plating{};               ///< of the whole file, from attributes or comments
  int first_layer = 0, last_layer = 0;  ///< from attributes; 0 = not stated
  std::size_t routed = 0;          ///< routed path segments (kept as slots)
  bool tool_sizes_in_file_unit_known = true;
  int shortest = 99, longest = 0;  ///< digits written, over coordinates without a point
};

struct Hole {
  Point at, end;  ///< end differs for slots
  double diameter{};
  Plating plating{};
  std::string function;
  std::uint32_t line{};
  std::uint32_t file{};   ///< filled by the caller
  bool slot = false;
  int first_layer = 0, last_layer = 0;  ///< 0 = through
};

bool looks_like_drill(std::string_view bytes);
DrillFile read_drill(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);
/// Holes in millimetres under a format; repeats expanded.
std::vector<Hole> holes_of(const DrillFile& file, const DrillFormat& format);

}  // namespace teasel::formats
