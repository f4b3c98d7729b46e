// A layer file by itself: what it holds in numbers, and its composited image as polygons.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/formats/gerber.h"

namespace teasel::formats {

struct LayerFacts {
  std::string file;
  Box extents;  ///< of all dark objects, mm in the file's frame; not valid() where nothing is drawn
  std::size_t flashes{}, strokes{}, arcs{}, regions{}, clear{};
  std::vector<std::pair<std::string, std::size_t>> apertures;  ///< kind and count, kinds that occur
  bool millimetres = true, negative = false;
  std::vector<std::pair<std::string, std::string>> file_attributes;
  std::vector<std::pair<std::string, std::size_t>> functions;  ///< .AperFunction of objects, by name
  std::size_t nets{}, components{};                            ///< distinct names in object attributes
  std::optional<Mm2> area;                                     ///< of the composited image, if asked for
};
LayerFacts layer_facts(const GerberFile& file);

/// The image that remains when all objects are painted in order, dark adding and clear removing, as disjoint polygons
/// (circles as inscribed chords within kChord). A negative image is the complement within its extents.
/// Throws std::length_error where the layer is too dense to be composited within the limits stated in layer.cpp.
Polygons composited(const GerberFile& file);
/// Its area, without joining the pieces: cheaper on large layers. Same on any number of threads.
Mm2 composited_area(const GerberFile& file);

}  // namespace teasel::formats
