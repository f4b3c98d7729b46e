// Packages, components and nets, and the order of the transform that puts pins on their pads.
#include <algorithm>

#include "ipc2581_reader.h"
#include "teasel/units.h"

namespace teasel::formats {

void CadReader::pad_stacks(const XMLElement& step) {
  for (const XMLElement& element : children(step)) {
    if (local(element) != "PadStackDef") continue;
    for (const XMLElement& land : children(element))
      if (local(land) == "PadstackPadDef" &&
          (attribute(land, "padUse") == "REGULAR" || attribute(land, "padUse").empty()))
        pad_stacks_[{std::string(attribute(element, "name")), std::string(attribute(land, "layerRef"))}] = &land;
  }
}

void CadReader::packages(const XMLElement& step) {
  for (const XMLElement& element : children(step)) {
    if (local(element) != "Package") continue;
    CadPackage package;
    if (const Mm height{length(element, "height", 0, scale_)}; height > Mm{}) package.height = height;
    for (const XMLElement& inner : children(element)) {
      if (local(inner) == "Outline") package.outline = area_of_contour(inner, scale_, {});
      if (local(inner) != "Pin") continue;
      package.pins.push_back({std::string(attribute(inner, "number")), std::string(attribute(inner, "name")),
                              location(inner), attribute(inner, "type") == "THRU"});
    }
    packages_[std::string(attribute(element, "name"))] = std::move(package);
  }
}

void CadReader::components(const XMLElement& step) {
  std::size_t embedded = 0;
  std::set<std::string> placed;
  for (const XMLElement& element : children(step)) {
    if (local(element) != "Component") continue;
    CadComponent component;
    component.row.component = attribute(element, "refDes");
    component.row.package = attribute(element, "packageRef");
    component.row.line = static_cast<std::uint32_t>(element.GetLineNum());
    if (component.row.component.empty()) continue;
    if (!packages_.count(component.row.package)) {
      fail("ipc2581-reference", element, "a component names a package that the step does not hold",
           component.row.package);
      continue;
    }
    const std::string layer(attribute(element, "layerRef"));
    const auto side = layer_side_.find(layer);
    if (side == layer_side_.end()) {
      fail("ipc2581-reference", element, "a component stands on a layer that the file does not list", layer);
      continue;
    }
    component.row.side = side->second;
    if (!component.row.side && copper_number_.count(layer)) {
      ++embedded;
      continue;
    }
    component.row.at = location(element);
    component.xform = child(element, "Xform");
    if (component.xform) component.row.rotation = Degrees{number(*component.xform, "rotation", 0)};
    component.row.standoff = Mm{length(element, "standoff", 0, scale_)};
    if (const Mm height{length(element, "height", 0, scale_)}; height > Mm{})
      component.row.height = height;
    else
      component.row.height = packages_[component.row.package].height;
    component.through = attribute(element, "mountType") == "THMT";
    if (!placed.insert(component.row.component).second) {
      diagnostics_.error({.code = "ipc2581-part-twice",
                          .at = at(element),
                          .message = "two components have the same reference",
                          .found = component.row.component,
                          .remedy = "correct the export"});
      continue;
    }
    components_.push_back(std::move(component));
  }
  if (embedded)
    diagnostics_.note({.code = "ipc2581-embedded",
                       .at = {name_, 0, 0, "Step/Component"},
                       .message = "components inside the board do not obstruct probes",
                       .found = std::to_string(embedded)});
}

/// Where a component's transform puts it. Orders 0 and 1 mirror where the Xform says so, 2 and 3 where the part is on
/// the bottom. Odd orders mirror before they turn.
Affine CadReader::placing(const CadComponent& component, int order) {
  Affine map = xform(component.xform, scale_);
  const bool by_side = order >= 2, mirror = by_side ? component.row.side == Side::bottom : map.determinant() < 0;
  const Point move = component.row.at + Point{map.e, map.f};
  // Take the mirror out again, so that the plain turn is left.
  Affine turn =
      map.determinant() < 0 ? Affine{-map.a, -map.b, map.c, map.d, 0, 0} : Affine{map.a, map.b, map.c, map.d, 0, 0};
  if (mirror) turn = order % 2 ? combine(turn, Affine{-1, 0, 0, 1, 0, 0}) : combine(Affine{-1, 0, 0, 1, 0, 0}, turn);
  turn.e = move.x;
  turn.f = move.y;
  return turn;
}

/// How far a pin lies from a land's place; nothing if it stands on a land that is drawn about another place.
Mm CadReader::pin_off(const CadLand& land, Point pin) const {
  const Mm off{distance(land.origin, pin)};
  if (off <= kPinOnPad || !land.shape || land.shape->aperture.kind != GerberAperture::Kind::macro) return off;
  return contains(land.shape->aperture.shape, inverse(land.whole)(pin)) ? Mm{} : off;
}

/// Lands refer to a pin by its number, as most writers do, or by its name.
const std::vector<CadLand*>& CadReader::lands_of(const PinLands& lands, const CadComponent& component,
                                                 const CadPin& pin) {
  static const std::vector<CadLand*> none;
  auto it = lands.find({component.row.component, pin.number});
  if (it == lands.end()) it = lands.find({component.row.component, pin.name});
  return it == lands.end() ? none : it->second;
}

CadReader::PinMatch CadReader::match_pins(const PinLands& lands, int order) {
  PinMatch match;
  match.order = order;
  for (const CadComponent& component : components_) {
    const Affine map = placing(component, order);
    auto& [pins, met] = match.by_part.emplace_back();
    for (const CadPin& pin : packages_[component.row.package].pins) {
      const auto& own = lands_of(lands, component, pin);
      if (own.empty()) continue;
      ++pins;
      Mm nearest{1e300};
      for (const CadLand* land : own) nearest = std::min(nearest, pin_off(*land, map(pin.at)));
      if (nearest <= kPinOnPad) {
        ++met;
        match.farthest = std::max(match.farthest, nearest);
      } else if (match.off.size() < 20)
        match.off.push_back(component.row.component + "-" + pin.number + " " + short_number(nearest.v, 3) + " mm");
    }
    match.pins += pins;
    match.met += met;
  }
  return match;
}

void CadReader::settle_placing() {
  PinLands lands;
  for (CadLand& land : lands_)
    if (!land.component.empty()) lands[{land.component, land.pin}].push_back(&land);
  const char* names[] = {"turned, then mirrored x to -x, then moved", "mirrored, then turned, then moved",
                         "turned, then mirrored where the part is on the bottom, then moved",
                         "mirrored where the part is on the bottom, then turned, then moved"};
  PinMatch best = match_pins(lands, 0);
  for (int order = 1; order < 4; ++order)
    if (PinMatch match = match_pins(lands, order); match.met > best.met) best = std::move(match);
  board_.placing = names[best.order];
  board_.pins = best.pins;
  board_.pins_met = best.met;
  board_.farthest_pin = best.farthest;
  board_.pins_off = best.off;
  for (CadComponent& component : components_) {
    const Affine map = placing(component, best.order);
    component.row.outline = transformed(packages_[component.row.package].outline, map);
    // A land may be drawn about another place than its pin (ball and via in one shape). The pin is then its origin.
    for (const CadPin& pin : packages_[component.row.package].pins)
      for (CadLand* land : lands_of(lands, component, pin))
        if (Mm{distance(land->origin, map(pin.at))} > kPinOnPad && pin_off(*land, map(pin.at)) == Mm{})
          land->origin = map(pin.at);
    if (!component.row.side) component.row.side = map.determinant() < 0 ? Side::bottom : Side::top;
  }
  const Place where{name_, 0, 0, "Step/Component"};
  std::string first;
  for (std::size_t i = 0; i < std::min<std::size_t>(board_.pins_off.size(), 5); ++i)
    first += (i ? ", " : "") + board_.pins_off[i];
  const std::string count =
      std::to_string(board_.pins_met) + " of " + std::to_string(board_.pins) + " pins lie on pads of their name";
  if (board_.pins == 0 && !components_.empty())
    diagnostics_.warn({.code = "ipc2581-no-pins",
                       .at = where,
                       .message = "no pin of a package could be compared with a pad, so nothing proves how components "
                                  "are turned and mirrored",
                       .found = std::to_string(components_.size()) + " components",
                       .remedy = "export the file with the pins of packages, or check the drawings"});
  else if (board_.pins_met * 10 < board_.pins * 9)
    diagnostics_.error(
        {.code = "ipc2581-pins-off",
         .at = where,
         .message =
             "the pins of components do not lie on their pads, in whatever order components are turned and mirrored",
         .found = count + "; off: " + first,
         .expected = "nine of ten within " + short_number(kPinOnPad.v, 2) + " mm",
         .remedy = "export the file again; its packages and its layers are from different states of the design"});
  else if (board_.pins)
    diagnostics_.note({.code = "ipc2581-placing",
                       .at = where,
                       .message = "components are " + board_.placing,
                       .found = count + ", the farthest by " + short_number(board_.farthest_pin.v, 3) + " mm" +
                                (first.empty() ? "" : "; off: " + first)});
  if (!diagnostics_.failed()) check_pins(best);
}

/// Checks each side by itself, and finds parts whose pins are all off: their drawn bodies are not believed.
void CadReader::check_pins(const PinMatch& match) {
  PerSide<std::size_t> pins, met;
  std::size_t wrong = 0;
  std::string list;
  for (std::size_t i = 0; i < components_.size(); ++i) {
    BodyRow& row = components_[i].row;
    const Side side = row.side.value_or(Side::top);
    const auto [own, on] = match.by_part[i];
    pins[side] += own;
    met[side] += on;
    if (own < 1 || on > 0) continue;
    if (wrong++ < 5) list += (list.empty() ? "" : ", ") + row.component;
    row.outline.clear();
  }
  const Place where{name_, 0, 0, "Step/Component"};
  for (const Side side : kBothSides)
    if (pins[side] >= 5 && met[side] * 10 < pins[side] * 9)
      return diagnostics_.error(
          {.code = "ipc2581-pins-off",
           .at = where,
           .message = std::string("the pins of components on the ") + to_string(side) + " do not lie on their pads",
           .found = std::to_string(met[side]) + " of " + std::to_string(pins[side]),
           .expected = "nine of ten",
           .remedy = "export the file again; its packages and its layers are from different states of the design"});
  if (wrong)
    diagnostics_.warn(
        {.code = "ipc2581-part-off",
         .at = where,
         .message =
             "no pin of these components lies on its pad; the hull of their pads is used instead of their drawn bodies",
         .found = std::to_string(wrong) + ": " + list + (wrong > 5 ? ", ..." : ""),
         .remedy = "check them in the drawing"});
}

void CadReader::place_bodies() {
  const CadVariant* variant = nullptr;
  for (const auto& listed : board_.variants)
    if (listed.name == board_.variant) variant = &listed;
  std::size_t unknown = 0;
  std::string first;
  for (CadComponent& component : components_) {
    if (variant) {
      if (auto it = variant->fitted.find(component.row.component); it != variant->fitted.end())
        component.row.fitted = it->second;
      else if (unknown++ == 0)
        first = component.row.component;
    }
    board_.mechanics.bodies.push_back(std::move(component.row));
  }
  if (unknown)
    diagnostics_.note({.code = "ipc2581-not-in-bom",
                       .at = {name_, 0, 0, "Bom"},
                       .message = "components that are missing from the bill of materials count as fitted",
                       .found = std::to_string(unknown) + ", first " + first,
                       .remedy = "list parts that are not fitted in  [components] not_fitted"});
}

void CadReader::logical_nets(const XMLElement& step) {
  for (const XMLElement& element : children(step)) {
    if (local(element) != "LogicalNet") continue;
    const std::string net(attribute(element, "name"));
    if (attribute(element, "netClass") == "UNUSED") unused_nets_.insert(net);
    for (const XMLElement& pin : children(element))
      if (local(pin) == "PinRef")
        logical_[{std::string(attribute(pin, "componentRef")), std::string(attribute(pin, "pin"))}] = net;
  }
}

namespace {
/// The covered faces as bits, as in the mask field of a netlist; -1: not stated.
int covered_of(std::string_view exposure) {
  if (exposure == "EXPOSED") return 0;
  if (exposure == "COVERED_PRIMARY") return 1;
  if (exposure == "COVERED_SECONDARY") return 2;
  return exposure == "COVERED" ? 3 : -1;
}
}  // namespace

void CadReader::physical_nets(const XMLElement& step) {
  for (const XMLElement& group : children(step)) {
    if (local(group) != "PhyNetGroup") continue;
    for (const XMLElement& net : children(group)) {
      if (local(net) != "PhyNet") continue;
      for (const XMLElement& point : children(net)) {
        if (local(point) != "PhyNetPoint") continue;
        Physical physical;
        physical.at = {length(point, "x", 0, scale_), length(point, "y", 0, scale_)};
        physical.net = attribute(net, "name");
        if (auto copper = copper_number_.find(std::string(attribute(point, "layerRef")));
            copper != copper_number_.end())
          physical.side = layer_side_[copper->first];
        physical.covered = covered_of(attribute(point, "exposure"));
        physical.test = flag(point, "test");
        physical.line = static_cast<std::uint32_t>(point.GetLineNum());
        physical_.push_back(std::move(physical));
      }
    }
  }
}

}  // namespace teasel::formats
