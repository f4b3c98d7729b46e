// Gerber layer files (RS-274X with X2 and X3 attributes): bytes in, resolved objects out.
// Frame: the file's own, seen from the top, X right, Y up, converted to millimetres.
// Source of every rule: Gerber Layer Format Specification, revision 2023.08; deprecated commands by its appendix.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel::formats {

enum class GerberUnit : std::uint8_t { mm, inch };

struct GerberAttributes {                    ///< what is attached to one object; escapes resolved
  std::string aper_function;                 ///< .AperFunction, fields joined by commas
  std::string net;                           ///< first field of .N; empty = no net; meaningful only if has_net
  std::vector<std::string> other_nets;       ///< further fields of .N: the object was split by later clears
  std::string component, pin, pin_function;  ///< .P, or .C for the component alone
  bool has_net = false;
  std::vector<std::pair<std::string, std::string>> others;  ///< all the rest by name, value as written
  bool operator==(const GerberAttributes&) const = default;
  [[nodiscard]] std::string other(std::string_view name) const;
};

struct GerberObject {
  enum class Kind : std::uint8_t { flash, line, arc, region };
  Kind kind{};
  bool dark = true;
  bool clockwise = false;      ///< arcs
  std::uint32_t shape{};       ///< flash, line, arc: index into apertures; region: index into regions
  std::uint32_t transform{};   ///< index into transforms: mirror, rotation, scale of the aperture, no shift
  std::uint32_t attributes{};  ///< index into attributes
  std::uint32_t line{};        ///< line of the file
  std::uint32_t centre{};      ///< arcs: index into centres
  Point start, end;            ///< flash: `start` is the place; region: `start` is a shift
};

struct GerberAperture {
  enum class Kind : std::uint8_t { circle, rectangle, obround, polygon, macro, block };
  Kind kind{};
  int code{};
  Mm width, height;  ///< circle and polygon: the outer diameter
  Mm hole;           ///< round hole; 0 = none
  Polygons shape;    ///< about the origin, holes open; blocks: empty
  Box box;
  std::string function;             ///< .AperFunction at definition
  std::vector<GerberObject> block;  ///< block apertures only
};

struct GerberFile {
  std::string name;
  std::size_t bytes = 0;  ///< size of the file
  bool millimetres = true;
  bool negative_image = false;  ///< %IPNEG
  std::vector<GerberAperture> apertures;
  std::vector<std::vector<Ring>> regions;  ///< raw contours of positive area, each to be filled by itself
  std::vector<Box> region_boxes;           ///< bounds of each region
  std::vector<Point> centres;              ///< of arcs
  std::vector<Affine> transforms;
  std::vector<GerberAttributes> attributes;
  std::vector<GerberObject> objects;                                 ///< in painting order
  std::string image_name;                                            ///< by the deprecated IN command; empty: none
  std::vector<std::pair<std::string, std::string>> file_attributes;  ///< TF name and value
  std::vector<std::string> comments;                                 ///< G04 text before the first object

  void keep_region(std::vector<Ring> contours);
  [[nodiscard]] std::string file_attribute(std::string_view name) const;
};

/// True if the bytes hold Gerber format, unit or aperture statements, whatever the file is called.
bool looks_like_gerber(std::string_view bytes);

/// Reads a file. Errors go to `diagnostics` with line numbers; the result is usable only if none was added.
/// Limits: 8 million objects or region vertices after repeats, 64 nested brackets, 8 nested blocks, coordinates within
/// 10 m, region contours and macro outlines that cross themselves no more than a few times a vertex.
/// `unit` overrides the unit that the file states, and is used where it states none.
GerberFile read_gerber(std::string_view bytes, const std::string& name, Diagnostics& diagnostics,
                       std::optional<GerberUnit> unit = {});

/// Bounding box of what an object covers (arcs: of their full circle).
Box box_of(const GerberFile& file, const GerberObject& object);
/// Bounding box of all dark objects; not valid() if there are none.
Box extents(const GerberFile& file);
/// The area of one object, in the file frame.
Polygons area_of(const GerberFile& file, const GerberObject& object);
/// A flash that equals one stroke of a round pen: circles and obrounds without holes.
struct RoundStroke {
  Point from, to;  ///< equal for circles
  Mm width;
};
std::optional<RoundStroke> flash_as_stroke(const GerberFile& file, const GerberObject& flash);
/// False only if the object certainly paints nothing inside the window; cheap.
bool reaches(const GerberFile& file, const GerberObject& object, const Box& window);
/// The part of an object near a window; cheap for regions far larger than the window.
Polygons area_in(const GerberFile& file, const GerberObject& object, const Box& window);
/// True if the object covers the point.
bool covers(const GerberFile& file, const GerberObject& object, Point p);
/// Points along an arc from start to end (both exact; the radius blends), chords within kChord; `beyond`: fine enough
/// for an arc whose radius is larger by so much.
Ring arc_points(Point start, Point end, Point centre, bool clockwise, Mm beyond = {});

}  // namespace teasel::formats
