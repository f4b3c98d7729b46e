// Packages, components and nets; which order of the transform puts pins on their pads.
#include <algorithm>

#include "ipc2581_reader.h"
#include "teasel/units.h"

namespace teasel::formats {

void CadReader::pad_stacks(const XMLElement& step) {
  for (const XMLElement& e : children(step)) {
    if (local(e) != "PadStackDef") continue;
    for (const XMLElement& p : children(e))
      if (local(p) == "PadstackPadDef" && (attribute(p, "padUse") == "REGULAR" || attribute(p, "padUse").empty()))
        pad_stacks_[{std::string(attribute(e, "name")), std::string(attribute(p, "layerRef"))}] = &p;
  }
}

void CadReader::packages(const XMLElement& step) {
  for (const XMLElement& e : children(step)) {
    if (local(e) != "Package") continue;
    CadPackage p;
    if (const double h = length(e, "height", 0, k_); h > 0) p.height = h;
    for (const XMLElement& c : children(e)) {
      if (local(c) == "Outline") p.outline = area_of_contour(c, k_, {});
      if (local(c) != "Pin") continue;
      p.pins.push_back({std::string(attribute(c, "number")), std::string(attribute(c, "name")), location(c),
                        attribute(c, "type") == "THRU"});
    }
    packages_[std::string(attribute(e, "name"))] = std::move(p);
  }
}

void CadReader::components(const XMLElement& step) {
  std::size_t embedded = 0;
  std::set<std::string> placed;
  for (const XMLElement& e : children(step)) {
    if (local(e) != "Component") continue;
    CadComponent c;
    c.row.component = attribute(e, "refDes");
    c.row.package = attribute(e, "packageRef");
    c.row.line = static_cast<std::uint32_t>(e.GetLineNum());
    if (c.row.component.empty()) continue;
    if (!packages_.count(c.row.package)) {
      fail("ipc2581-reference", e, "the component names a package that the step does not hold", c.row.package);
      continue;
    }
    const std::string layer(attribute(e, "layerRef"));
    const auto side = layer_side_.find(layer);
    if (side == layer_side_.end()) {
      fail("ipc2581-reference", e, "the component stands on a layer that the file does not list", layer);
      continue;
    }
    c.row.side = side->second;
    if (c.row.side < 0 && copper_number_.count(layer)) {
      ++embedded;
      continue;
    }
    c.row.at = location(e);
    c.xform = child(e, "Xform");
    if (c.xform) c.row.rotation = number(*c.xform, "rotation", 0);
    c.row.standoff = length(e, "standoff", 0, k_);
    if (const double h = length(e, "height", 0, k_); h > 0)
      c.row.height = h;
    else
      c.row.height = packages_[c.row.package].height;
    c.through = attribute(e, "mountType") == "THMT";
    if (!placed.insert(c.row.component).second) {
      d_.error("ipc2581-part-twice", at(e), "one reference stands on two components", c.row.component, {},
               "correct the export");
      continue;
    }
    components_.push_back(std::move(c));
  }
  if (embedded)
    d_.note("ipc2581-embedded", {name_, 0, 0, "Step/Component"}, "components inside the board stand in no probe's way",
            std::to_string(embedded));
}

/// Orders of the transform: 0, 1 mirror where the Xform says so, 2, 3 where the part is on the bottom; odd ones mirror
/// first.
Affine CadReader::placing(const CadComponent& c, int order) {
  Affine t = xform(c.xform, k_);
  const bool by_side = order >= 2, mirror = by_side ? c.row.side == 1 : t.determinant() < 0;
  const Point move = c.row.at + Point{t.e, t.f};
  // Back to the plain turn.
  Affine turn = t.determinant() < 0 ? Affine{-t.a, -t.b, t.c, t.d, 0, 0} : Affine{t.a, t.b, t.c, t.d, 0, 0};
  if (mirror) turn = order % 2 ? combine(turn, Affine{-1, 0, 0, 1, 0, 0}) : combine(Affine{-1, 0, 0, 1, 0, 0}, turn);
  turn.e = move.x;
  turn.f = move.y;
  return turn;
}

/// How far a pin lies from a land: from its place, or not at all if it stands on a land that is drawn about another
/// place.
double CadReader::pin_off(const CadLand& l, Point pin) const {
  const double off = distance(l.origin, pin);
  if (off <= kPinOnPad || !l.shape || l.shape->aperture.kind != GerberAperture::Kind::macro) return off;
  return contains(l.shape->aperture.shape, inverse(l.whole)(pin)) ? 0 : off;
}

/// By the pin's number, as most writers refer to it, else by its name.
const std::vector<CadLand*>& CadReader::lands_of(const PinLands& lands, const CadComponent& c, const CadPin& p) {
  static const std::vector<CadLand*> none;
  auto it = lands.find({c.row.component, p.number});
  if (it == lands.end()) it = lands.find({c.row.component, p.name});
  return it == lands.end() ? none : it->second;
}

CadReader::PinMatch CadReader::match_pins(const PinLands& lands, int order) {
  PinMatch m;
  m.order = order;
  for (const CadComponent& c : components_) {
    const Affine t = placing(c, order);
    auto& [pins, met] = m.by_part.emplace_back();
    for (const CadPin& p : packages_[c.row.package].pins) {
      const auto& own = lands_of(lands, c, p);
      if (own.empty()) continue;
      ++pins;
      double nearest = 1e300;
      for (const CadLand* l : own) nearest = std::min(nearest, pin_off(*l, t(p.at)));
      if (nearest <= kPinOnPad) {
        ++met;
        m.farthest = std::max(m.farthest, nearest);
      } else if (m.off.size() < 20)
        m.off.push_back(c.row.component + "-" + p.number + " " + short_number(nearest, 3) + " mm");
    }
    m.pins += pins;
    m.met += met;
  }
  return m;
}

void CadReader::settle_placing() {
  PinLands lands;
  for (CadLand& l : lands_)
    if (!l.component.empty()) lands[{l.component, l.pin}].push_back(&l);
  const char* names[] = {"turned, then mirrored x to -x, then moved", "mirrored, then turned, then moved",
                         "turned, then mirrored where the part is on the bottom, then moved",
                         "mirrored where the part is on the bottom, then turned, then moved"};
  PinMatch best = match_pins(lands, 0);
  for (int order = 1; order < 4; ++order)
    if (PinMatch m = match_pins(lands, order); m.met > best.met) best = std::move(m);
  out_.placing = names[best.order];
  out_.pins = best.pins;
  out_.pins_met = best.met;
  out_.farthest_pin = best.farthest;
  out_.pins_off = best.off;
  for (CadComponent& c : components_) {
    const Affine t = placing(c, best.order);
    c.row.outline = transformed(packages_[c.row.package].outline, t);
    // Lands drawn about another place than their pin (ball and via in one shape) are aimed at by the pin.
    for (const CadPin& p : packages_[c.row.package].pins)
      for (CadLand* l : lands_of(lands, c, p))
        if (distance(l->origin, t(p.at)) > kPinOnPad && pin_off(*l, t(p.at)) == 0) l->origin = t(p.at);
    if (c.row.side < 0) c.row.side = t.determinant() < 0 ? 1 : 0;
  }
  const Place where{name_, 0, 0, "Step/Component"};
  std::string first;
  for (std::size_t i = 0; i < std::min<std::size_t>(out_.pins_off.size(), 5); ++i)
    first += (i ? ", " : "") + out_.pins_off[i];
  const std::string count =
      std::to_string(out_.pins_met) + " of " + std::to_string(out_.pins) + " pins lie on pads of their name";
  if (out_.pins == 0 && !components_.empty())
    d_.warn("ipc2581-no-pins", where,
            "no pin of a package could be compared with a pad: nothing proves how components are turned and mirrored",
            std::to_string(components_.size()) + " components",
            "export with the pins of packages, and look at the drawings");
  else if (out_.pins_met * 10 < out_.pins * 9)
    d_.error("ipc2581-pins-off", where, "no order of turning and mirroring puts the components' pins on their pads",
             count + "; off: " + first, "nine of ten within " + short_number(kPinOnPad, 2) + " mm",
             "export the file again: its packages and its layers are of different states");
  else if (out_.pins)
    d_.note("ipc2581-placing", where, "components are " + out_.placing,
            count + ", the farthest by " + short_number(out_.farthest_pin, 3) + " mm" +
                (first.empty() ? "" : "; off: " + first));
  if (!d_.failed()) check_pins(best);
}

/// The two sides one by one, and parts whose pins are all off: what is drawn of these is not believed.
void CadReader::check_pins(const PinMatch& match) {
  std::array<std::size_t, 2> pins{}, met{};
  std::size_t wrong = 0;
  std::string list;
  for (std::size_t i = 0; i < components_.size(); ++i) {
    BodyRow& row = components_[i].row;
    const std::size_t side = row.side == 1 ? 1 : 0;
    const auto [own, on] = match.by_part[i];
    pins[side] += own;
    met[side] += on;
    if (own < 1 || on > 0) continue;
    if (wrong++ < 5) list += (list.empty() ? "" : ", ") + row.component;
    row.outline.clear();
  }
  const Place where{name_, 0, 0, "Step/Component"};
  for (std::size_t side = 0; side < 2; ++side)
    if (pins[side] >= 5 && met[side] * 10 < pins[side] * 9)
      return d_.error(
          "ipc2581-pins-off", where,
          std::string("the pins of components on the ") + (side ? "bottom" : "top") + " do not lie on their pads",
          std::to_string(met[side]) + " of " + std::to_string(pins[side]), "nine of ten",
          "export the file again: its packages and its layers are of different states");
  if (wrong)
    d_.warn("ipc2581-part-off", where,
            "components of which no pin lies on its pad: their drawn bodies are not believed, the hull of their pads "
            "stands for them",
            std::to_string(wrong) + ": " + list + (wrong > 5 ? ", ..." : ""), "look at them in the drawing");
}

void CadReader::place_bodies() {
  const CadVariant* variant = nullptr;
  for (const auto& v : out_.variants)
    if (v.name == out_.variant) variant = &v;
  std::size_t unknown = 0;
  std::string first;
  for (CadComponent& c : components_) {
    if (variant) {
      if (auto it = variant->fitted.find(c.row.component); it != variant->fitted.end())
        c.row.fitted = it->second;
      else if (unknown++ == 0)
        first = c.row.component;
    }
    out_.mechanics.bodies.push_back(std::move(c.row));
  }
  if (unknown)
    d_.note("ipc2581-not-in-bom", {name_, 0, 0, "Bom"},
            "components that the bill of materials does not list count as fitted",
            std::to_string(unknown) + ", first " + first, "list those that are not fitted in  [components] not_fitted");
}

void CadReader::logical_nets(const XMLElement& step) {
  for (const XMLElement& e : children(step)) {
    if (local(e) != "LogicalNet") continue;
    const std::string net(attribute(e, "name"));
    if (attribute(e, "netClass") == "UNUSED") unused_nets_.insert(net);
    for (const XMLElement& p : children(e))
      if (local(p) == "PinRef")
        logical_[{std::string(attribute(p, "componentRef")), std::string(attribute(p, "pin"))}] = net;
  }
}

void CadReader::physical_nets(const XMLElement& step) {
  for (const XMLElement& group : children(step)) {
    if (local(group) != "PhyNetGroup") continue;
    for (const XMLElement& net : children(group)) {
      if (local(net) != "PhyNet") continue;
      for (const XMLElement& p : children(net)) {
        if (local(p) != "PhyNetPoint") continue;
        Physical f;
        f.at = {length(p, "x", 0, k_), length(p, "y", 0, k_)};
        f.net = attribute(net, "name");
        if (auto n = copper_number_.find(std::string(attribute(p, "layerRef"))); n != copper_number_.end())
          f.side = layer_side_[n->first];
        const std::string_view x = attribute(p, "exposure");
        f.covered = x == "COVERED"             ? 3
                    : x == "COVERED_PRIMARY"   ? 1
                    : x == "COVERED_SECONDARY" ? 2
                    : x == "EXPOSED"           ? 0
                                               : -1;
        f.test = flag(p, "test");
        f.line = static_cast<std::uint32_t>(p.GetLineNum());
        physical_.push_back(std::move(f));
      }
    }
  }
}

}  // namespace teasel::formats
