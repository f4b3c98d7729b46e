// Tables of a board that is known only from the bench: pads measured by ruler, microscope or photo, reference points of
// photos, resistances between pads.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel::formats {

/// teasel's own pad list. Columns (order free; * required): pad*, x_mm* and y_mm*, or photo, x_px* and y_px*; width_mm*
/// or width_px*; height_mm or height_px (absent or 0 = round); side (top, bottom, both); net; component; pin; drill_mm
/// (0 = none); plated (yes, no); error_mm (one standard deviation of the place, each axis). Pixels count from the upper
/// left corner of the picture, x to the right, y downwards.
struct PadRow {
  std::string pad, net, component, pin, photo;
  BoardPoint at;  ///< set from the picture where only pixels are given
  std::optional<Point> pixel;
  Sides sides{Side::top};
  Mm width, height, drill;  ///< width and height in pixels where size_in_pixels
  Degrees rotation;         ///< of the width's axis, where the size was read in a turned picture
  bool size_in_pixels = false;
  Mm error;  ///< one standard deviation, each axis; 0 = not stated
  bool plated = true;
  std::uint32_t line{};
};
bool looks_like_pad_list(std::string_view bytes);
std::vector<PadRow> read_pad_list(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

/// Columns photo (may be absent: one picture), point, x_px, y_px, x_mm, y_mm.
struct ReferenceRow {
  std::string photo, point;
  Point pixel;
  BoardPoint board;
  std::uint32_t line{};
};
bool looks_like_references(std::string_view bytes);
std::vector<ReferenceRow> read_references(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

/// Columns pad_a, pad_b, ohms. Ohms: a number with or without k, M, R ("4k7", "4.7k", "0.3 ohm"), or open, OL, inf.
struct ContinuityRow {
  std::string pad_a, pad_b;
  Ohms ohms;  ///< infinity: open
  std::uint32_t line{};
};
bool looks_like_continuity(std::string_view bytes);
std::vector<ContinuityRow> read_continuity(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);
/// What a table nearly is and which columns it lacks; empty if it is none of these.
std::string incomplete_table(std::string_view bytes);
/// True for the lists that `teasel bench` itself writes about pads: results, not measurements.
bool is_bench_output(std::string_view bytes);
/// "4k7", "10 M", "OL"; nothing if it is no resistance.
std::optional<Ohms> parse_ohms(std::string_view text);

}  // namespace teasel::formats
