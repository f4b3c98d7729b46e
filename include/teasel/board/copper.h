// Nets from copper and drill alone. Frame: the Gerber frame seen from the top, millimetres.
//
// On each layer every dark object is what remains of it after all later clear objects; two remains are connected where
// they come within kTouch of each other. Strokes and round flashes are exact (a segment and a radius), all else
// polygons with circles as inscribed chords within kChord. A plated hole or slot joins what its drilled outline touches
// on the layers it spans; an unplated one cuts away what lies inside it. Source of the tolerance: Gerber Layer Format
// Specification 2023.08, "gaps under 1 um are not gaps".
#pragma once
#include <memory>
#include <string>
#include <vector>

#include "teasel/formats/gerber.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/ids.h"
#include "teasel/units.h"

namespace teasel {

inline constexpr Mm kTouch{0.001};

struct CopperLayer {
  int number = 0;  ///< 1 = top; counts downward
  const formats::GerberFile* file = nullptr;
  bool clearances = false;              ///< a negative plane: what is drawn is free of copper
  std::vector<std::uint32_t> left_out;  ///< objects that count for nothing, ascending: the board edge drawn on the
                                        ///< film, thermal lands of a negative plane
};
struct CopperHole {
  BoardPoint at, end;  ///< end differs for slots
  Mm diameter;
  bool plated = true;
  int first_layer = 0, last_layer = 0;  ///< 0 = outermost
};

struct CopperNet;
using CopperNetId = Id<CopperNet>;  ///< of nets traced in copper, not of the netlist
struct CopperNet {
  std::string name;                      ///< from object attributes, else N0001, N0002, ...
  bool named = false;                    ///< the name stands in the files
  std::vector<std::string> other_names;  ///< further names on the same copper: a short, or a smeared attribute
  int number = 0;                        ///< from 1, by the anchor's x, then y, then layer
  BoardPoint anchor;                     ///< leftmost, then lowest land or hole
  int anchor_layer = 0;
  std::size_t lands = 0, holes = 0;  ///< pieces of flashes and filled regions; plated holes
  [[nodiscard]] bool drawn_only() const {
    return lands + holes == 0;
  }  ///< strokes alone: lettering, frames, painted pads
};

/// One connected piece of copper on one layer: all points within `radius` of a segment, or a polygon.
struct CopperShape {
  CopperNetId net;
  BoardPoint a, b;
  Mm radius;
  const Polygon* area = nullptr;
};

/// Connectivity of the copper given. Nets of strokes alone come last, see drawn_only(). Same result on any number of
/// threads.
class CopperNets {
 public:
  /// `frame`: the area of a negative plane. Throws std::length_error if a layer is tangled beyond the limits of
  /// booleans.
  CopperNets(std::vector<CopperLayer> layers, const std::vector<CopperHole>& holes, const Box& frame);
  ~CopperNets();
  CopperNets(CopperNets&&) noexcept;
  CopperNets& operator=(CopperNets&&) noexcept;

  [[nodiscard]] const Table<CopperNetId, CopperNet>& nets() const;
  [[nodiscard]] const std::vector<CopperLayer>& layers() const;
  /// Net of the copper at p on layers()[layer]; none = bare, or copper that belongs to no net.
  [[nodiscard]] CopperNetId net_at(std::size_t layer, BoardPoint p) const;
  [[nodiscard]] CopperNetId net_of_hole(std::size_t hole) const;  ///< none = unplated, or it touches no copper
  /// Every piece of layers()[layer]. Polygons live as long as this object.
  [[nodiscard]] std::vector<CopperShape> shapes(std::size_t layer) const;
  /// Nets of a dark object: none, one, or several where later clears cut it into pieces.
  struct ObjectNet {
    CopperNetId net;       ///< where it is one
    bool several = false;  ///< pieces on several nets
  };
  [[nodiscard]] ObjectNet net_of_object(std::size_t layer, std::size_t object) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace teasel
