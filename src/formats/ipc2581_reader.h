// The IPC-2581 reader: one object over one document. Its parts: shapes and dictionaries; layers; parts; lands.
#pragma once
#include <array>
#include <map>
#include <set>
#include <string>
#include <unordered_map>

#include "teasel/formats/ipc2581.h"
#include "xml.h"

namespace teasel::formats {

using tinyxml2::XMLElement;

/// A primitive of a dictionary, or one written out in place.
struct CadShape {
  GerberAperture aperture;
  Affine own;          ///< its own Xform
  bool filled = true;  ///< HOLLOW and VOID primitives paint nothing
};
struct LineStyle {
  double width{};
  bool round = true, extended = false;  ///< ends: ROUND; SQUARE reaches on by half the width, NONE does not
};

/// A land on an outer layer, before lands are gathered to pads.
struct CadLand {
  Point origin;  ///< place of the pad stack
  Side side{};
  Mm width, height;
  Degrees turn;
  bool round = false, via = false, fiducial = false, tooling = false, test = false;
  std::string net, component, pin;
  std::uint32_t line{};
  const CadShape* shape = nullptr;
  Affine whole;  ///< of the shape
};
struct CadHole {
  Hole hole;
  std::string net;
};
struct CadPin {
  std::string number, name;
  Point at;  ///< in the package's frame
  bool through = false;
};
struct CadPackage {
  Polygons outline;
  std::optional<Mm> height;
  std::vector<CadPin> pins;
};
struct CadComponent {
  BodyRow row;
  const XMLElement* xform = nullptr;
  bool through = false;
};

/// Rings without holes that fill the same area, abutting along straight cuts.
void hole_free(Polygon polygon, std::vector<Ring>& out);
/// Drops the last point where it repeats the first.
void close(Ring& ring);

class LandBook;
class CadReader {
  friend class LandBook;  // ipc2581_lands.cpp: turns lands into records

 public:
  CadReader(std::string_view bytes, const std::string& name, const Ipc2581Choice& choice, Diagnostics& diagnostics)
      : bytes_(bytes), name_(name), choice_(choice), diagnostics_(diagnostics) {}
  CadBoard run();

 private:
  // ipc2581.cpp: the frame of the file
  bool open();
  void content(const XMLElement& root);
  void boms(const XMLElement& root);
  void steps(const XMLElement& cad);
  const XMLElement* choose_step();
  std::optional<std::size_t> step_asked_for(const std::string& names);
  std::optional<std::size_t> only_board(const std::string& names);
  void tell_panels(const CadStep& chosen);
  void layers(const XMLElement& cad);
  void number_copper(const XMLElement& cad);
  std::optional<Polygon> profile(const XMLElement& step);
  void choose_variant();

  // ipc2581_shapes.cpp
  void dictionaries(const XMLElement& content);
  std::optional<CadShape> primitive(const XMLElement& element, double scale);
  std::optional<Ring> simple_primitive(const XMLElement& element, double scale, GerberAperture& aperture);
  std::optional<Polygons> compound_primitive(const XMLElement& element, double scale);
  Ring treated_rectangle(const XMLElement& element, double scale);
  Polygons butterfly(const XMLElement& element, double scale);
  Polygons donut(const XMLElement& element, double scale);
  Polygons moire(const XMLElement& element, double scale);
  const CadShape* shape_in(const XMLElement& element);  ///< the shape or the reference among the children
  const CadShape* shape_of(const XMLElement& feature);
  LineStyle line_style(const XMLElement& line_desc, double scale);
  LineStyle line_of(const XMLElement& element);
  bool fills(const XMLElement& element) const;
  Affine xform(const XMLElement* element, double scale);
  bool flag(const XMLElement& element, const char* attribute, bool missing = false);
  Ring path(const XMLElement& poly, double scale);  ///< PolyBegin and its steps, curves as chords
  std::vector<Ring> contour(const XMLElement& element, double scale,
                            const Affine& map);  ///< each polygon without its cutouts, as rings
  static void pieces(Ring outer, const std::vector<Ring>& holes, const Box& box, int depth, std::vector<Ring>& out);
  Polygons area_of_contour(const XMLElement& element, double scale, const Affine& map);
  double number(const XMLElement& element, const char* attribute, double missing);
  double length(const XMLElement& element, const char* attribute, double missing, double scale);
  Point location(const XMLElement& element);
  double scale_of(const XMLElement& element);  ///< by its units attribute

  // ipc2581_layers.cpp
  void layer_features(const XMLElement& step);
  void set(const XMLElement& set, CadLayer& layer);
  void pad(const XMLElement& pad, const XMLElement& set, CadLayer& layer, bool dark);
  static bool size_of_land(CadLand& land, const CadShape* shape, const Affine& map, const CadLayer& layer,
                           std::size_t first);
  void features(const XMLElement& features, CadLayer& layer, bool dark, std::uint32_t attributes);
  void feature(const XMLElement& element, CadLayer& layer, const Affine& map, bool dark, std::uint32_t attributes,
               int depth);
  void stroke(const XMLElement& element, CadLayer& layer, const Affine& map, bool dark, std::uint32_t attributes);
  void straight(CadLayer& layer, Point a, Point b, const LineStyle& style, GerberObject object);
  void flash(CadLayer& layer, const CadShape& shape, const Affine& map, bool dark, std::uint32_t attributes,
             std::uint32_t line);
  void region(CadLayer& layer, std::vector<Ring> rings, bool dark, std::uint32_t attributes, std::uint32_t line);
  void drills(const XMLElement& feature_list, int first, int last);
  void round_hole(const XMLElement& element, const std::string& net, int first, int last);
  void pad_stack(const XMLElement& stack);
  /// The copper layers, from 1, that a hole goes from and to; 0, 0: through all. Nothing: one of them is no copper
  /// layer of the file.
  [[nodiscard]] std::optional<std::array<int, 2>> span_of(const XMLElement& span) const;
  void slot(const XMLElement& cavity, const std::string& net, int first, int last);
  void keep(CadLayer& layer, GerberObject object);
  std::uint32_t attributes(CadLayer& layer, const std::string& net, const std::string& component,
                           const std::string& pin, const char* function);
  std::uint32_t pen(CadLayer& layer, double width);
  std::uint32_t transform(CadLayer& layer, const Affine& map);

  // ipc2581_parts.cpp
  void pad_stacks(const XMLElement& step);
  void packages(const XMLElement& step);
  void components(const XMLElement& step);
  /// How the components' pins meet their lands under one order of the transform.
  struct PinMatch {
    int order = 0;
    std::size_t pins = 0, met = 0;
    Mm farthest;                                      ///< of those met
    std::vector<std::string> off;                     ///< the first of the others
    std::vector<std::array<std::size_t, 2>> by_part;  ///< pins compared, pins met
  };
  using PinLands = std::map<std::pair<std::string, std::string>, std::vector<CadLand*>>;
  static const std::vector<CadLand*>& lands_of(const PinLands& lands, const CadComponent& component, const CadPin& pin);
  PinMatch match_pins(const PinLands& lands, int order);
  void settle_placing();
  void check_pins(const PinMatch& match);
  Mm pin_off(const CadLand& land, Point pin) const;
  void place_bodies();
  Affine placing(const CadComponent& component, int order);
  void logical_nets(const XMLElement& step);
  void physical_nets(const XMLElement& step);

  // ipc2581_lands.cpp
  void netlist();

  // used by all parts
  void fail(const char* code, const XMLElement& at, std::string message, std::string found = {},
            std::string expected = {}, std::string remedy = {});
  static bool no_net(std::string_view net);
  [[nodiscard]] Place at(const XMLElement& element) const {
    return {name_, static_cast<std::uint32_t>(element.GetLineNum()), 0, std::string(local(element))};
  }

  std::string_view bytes_;
  const std::string& name_;
  const Ipc2581Choice& choice_;
  Diagnostics& diagnostics_;
  tinyxml2::XMLDocument doc_{true, tinyxml2::PRESERVE_WHITESPACE};
  CadBoard board_;
  double scale_ = 1;  ///< CadHeader units to mm
  int complaints_ = 0;
  std::size_t objects_ = 0, points_ = 0, steps_ = 0;

  std::vector<std::string> bom_refs_;
  std::vector<const XMLElement*> step_elements_;
  std::unordered_map<std::string, CadShape> standard_;
  std::map<const XMLElement*, std::optional<CadShape>> inline_;
  std::unordered_map<std::string, std::pair<const XMLElement*, double>> user_;
  std::unordered_map<std::string, LineStyle> lines_;
  std::unordered_map<std::string, bool> fills_;
  std::map<std::string, std::size_t> layer_index_;
  std::map<std::string, std::array<int, 2>> drill_span_;  ///< drill layers; 0, 0 = through
  std::map<std::string, int> copper_number_;
  std::map<std::string, std::optional<Side>> layer_side_;  ///< of every layer; nothing: within the board, or of neither
  std::map<std::pair<std::string, std::string>, const XMLElement*> pad_stacks_;  ///< regular land of a stack on a layer

  /// By layer: what was made for an earlier object.
  struct Made {
    std::unordered_map<const CadShape*, std::uint32_t> apertures;
    std::map<double, std::uint32_t> pens;
    std::map<std::array<double, 4>, std::uint32_t> transforms;
    std::map<std::array<std::string, 4>, std::uint32_t> attributes;
  };
  std::map<const CadLayer*, Made> made_;
  std::vector<CadLand> lands_;
  std::vector<CadHole> holes_;
  std::map<std::string, CadPackage> packages_;
  std::vector<CadComponent> components_;
  std::map<std::pair<std::string, std::string>, std::string> logical_;  ///< net of a pin
  std::set<std::string> unused_nets_;
  struct Physical {
    Point at;
    std::optional<Side> side;
    std::string net;
    int covered = 0;
    bool test = false;
    std::uint32_t line{};
  };
  std::vector<Physical> physical_;
};

}  // namespace teasel::formats
