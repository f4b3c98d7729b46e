// The step of an IPC-2581 revision C file: stacks, parts, nets and the features of every layer.
#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>
#include <vector>

#include "bodies.h"
#include "ipc2581_head.h"
#include "write.h"

namespace demo {

namespace {
std::string mm(double v) {
  return num(v, 4);
}
std::string net_of(const Pad& p) {
  return p.net == "N/C" ? "" : p.net;
}
bool is_test(const Pad& p) {
  return p.function == "TestPad";
}
std::string usage(const Pad& p) {
  return !p.plated                               ? "TOOLING_HOLE"
         : is_via(p)                             ? "VIA"
         : p.function.substr(0, 8) == "Fiducial" ? "FIDUCIAL"
                                                 : "TERMINATION";
}
std::string plating(const Pad& p) {
  return !p.plated ? "NONPLATED" : is_via(p) ? "VIA" : "PLATED";
}

class Writer {
 public:
  Writer(const Design& d, const Routes& r) : d_(d), r_(r), lands_(lands(d, r)) {
    for (const Part& p : d.parts) parts_[p.name] = &p;
    for (const Pad& p : lands_)
      if (!net_of(p).empty() && std::find(nets_.begin(), nets_.end(), p.net) == nets_.end()) nets_.push_back(p.net);
  }
  std::string text();

 private:
  void stacks();
  void package(const Part& p);
  void component(const Part& p);
  void logical_nets();
  void physical_nets();
  void layers();
  void plane(const std::string& layer, const std::string& net);
  void tracks(bool top);
  void drill();
  void pad_set(const Pad& land, const Pad& drawn, const std::string& polarity);

  void at(double px, double py) { x_.leaf("Location", {{"x", mm(px)}, {"y", mm(py)}}); }
  void turn(const Part& p) {
    const double a = std::fmod(std::fmod(p.rotation, 360) + 360, 360);
    if (a > 0 || !p.top) x_.leaf("Xform", {{"rotation", a > 0 ? num(a, 3) : ""}, {"mirror", p.top ? "" : "true"}});
  }
  void shape(double w, double h);
  void pen(double width);
  void polygon(const std::vector<std::pair<double, double>>& corners, bool filled);
  const Part* part_of(const Pad& p) const {
    auto it = parts_.find(p.component);
    return it == parts_.end() ? nullptr : it->second;
  }
  Pad in_package(const Pad& p) const {
    const Part* part = part_of(p);
    return part ? to_package(*part, p) : p;
  }
  std::string stack(const Pad& land) const;

  const Design& d_;
  const Routes& r_;
  std::vector<Pad> lands_;
  std::map<std::string, const Part*> parts_;
  std::vector<std::string> nets_;
  Xml x_{3};
  Dictionary dict_;  ///< fills as the step is written
};

void Writer::shape(double w, double h) {
  auto& all = dict_.shapes;
  auto it = std::find_if(all.begin(), all.end(),
                         [&](const auto& s) { return std::abs(s.first - w) < 1e-7 && std::abs(s.second - h) < 1e-7; });
  if (it == all.end()) it = all.insert(it, {w, h});
  x_.leaf("StandardPrimitiveRef", {{"id", Dictionary::shape_id(static_cast<std::size_t>(it - all.begin()), h)}});
}

void Writer::pen(double width) {
  const long nm = std::lround(width * 1e6);
  dict_.pens.insert(nm);
  x_.leaf("LineDescRef", {{"id", Dictionary::pen_id(nm)}});
}

void Writer::polygon(const std::vector<std::pair<double, double>>& corners, bool filled) {
  x_.open("Polygon");
  for (std::size_t i = 0; i <= corners.size(); ++i) {
    const auto& [px, py] = corners[i % corners.size()];
    x_.leaf(i == 0 ? "PolyBegin" : "PolyStepSegment", {{"x", mm(px)}, {"y", mm(py)}});
  }
  if (filled) x_.leaf("FillDescRef", {{"id", "SOLID_FILL"}});
  x_.close();
}

std::string Writer::stack(const Pad& land) const {
  const Pad p = in_package(land);
  const std::string hole = "_D" + num(p.drill, 3),
                    copper = "_" + (p.h > 0 ? "R" + num(p.w, 3) + "X" + num(p.h, 3) : "C" + num(p.w, 3));
  if (!p.plated) return "NPTH" + hole;
  if (p.drill > 0) return (is_via(p) ? p.mask_open ? "OPENVIA" : "VIA" : "PTH") + copper + hole;
  return side((is_test(p) ? "TEST" : usage(p) == "FIDUCIAL" ? "FID" : "SMD") + copper + "_", p.top);
}

void Writer::stacks() {
  std::set<std::string> known;
  for (const Pad& land : lands_) {
    if (!known.insert(stack(land)).second) continue;
    const Pad p = in_package(land), o = opening(p);
    x_.open("PadStackDef", {{"name", stack(land)}});
    if (p.drill > 0)
      x_.leaf("PadstackHoleDef", {{"name", "PH" + num(p.drill * 1000, 0)},
                                  {"diameter", mm(p.drill)},
                                  {"platingStatus", plating(p)},
                                  {"plusTol", "0.0"},
                                  {"minusTol", "0.0"},
                                  {"x", "0.0"},
                                  {"y", "0.0"}});
    auto on = [&](const std::string& layer, const Pad& s) {
      x_.open("PadstackPadDef", {{"layerRef", layer}, {"padUse", "REGULAR"}});
      at(0, 0);
      shape(s.w, s.h);
      x_.close();
    };
    for (bool top : {true, false}) {
      if (!on_side(p, top)) continue;
      if (p.plated) on(side("", top), p);
      if (p.mask_open) on(side("MASK_", top), o);
      if (pasted(p)) on(side("PASTE_", top), p);
    }
    x_.close();
  }
}

void Writer::package(const Part& p) {
  const bool fiducial = p.package == "FID";
  const Box b = body(d_, p);
  x_.open("Package", {{"name", package_name(p)},
                      {"type", "OTHER"},
                      {"pinOne", "1"},
                      {"pinOneOrientation", "OTHER"},
                      {"height", fiducial ? "" : mm(p.height)}});
  x_.open("Outline");
  if (fiducial) {
    x_.open("Polygon");
    x_.leaf("PolyBegin", {{"x", mm(b.x1)}, {"y", "0.0"}});
    x_.leaf("PolyStepCurve",
            {{"x", mm(b.x1)}, {"y", "0.0"}, {"centerX", "0.0"}, {"centerY", "0.0"}, {"clockwise", "false"}});
    x_.close();
  } else {
    polygon({{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}}, false);
  }
  pen(0);
  x_.close();
  x_.leaf("PickupPoint", {{"x", mm((b.x0 + b.x1) / 2)}, {"y", mm((b.y0 + b.y1) / 2)}});
  for (const Pad& q : package_pads(d_, p)) {
    x_.open("Pin", {{"number", q.pin},
                    {"type", q.drill > 0 ? "THRU" : "SURFACE"},
                    {"electricalType", fiducial ? "MECHANICAL" : "ELECTRICAL"}});
    at(q.x, q.y);
    shape(q.w, q.h);
    x_.close();
  }
  x_.close();
}

void Writer::component(const Part& p) {
  x_.open("Component", {{"refDes", p.name},
                        {"packageRef", package_name(p)},
                        {"layerRef", side("", p.top)},
                        {"part", part_number(p)},
                        {"mountType", p.holes_only ? "THMT" : "SMT"},
                        {"standoff", "0.0"},
                        {"height", p.package == "FID" ? "" : mm(p.height)}});
  turn(p);
  at(p.x, p.y);
  x_.close();
}

void Writer::logical_nets() {
  for (const std::string& net : nets_) {
    x_.open("LogicalNet", {{"name", net},
                           {"netClass", net == "GND"                                    ? "GROUND"
                                        : net == "3V3" || net == "1V8" || net[0] == 'V' ? "POWER"
                                                                                        : "SIGNAL"}});
    for (const Pad& p : d_.pads)
      if (p.net == net && part_of(p)) x_.leaf("PinRef", {{"pin", p.pin}, {"componentRef", p.component}});
    x_.close();
  }
}

void Writer::physical_nets() {
  x_.open("PhyNetGroup", {{"name", "AllPhyNets"}});
  for (const std::string& net : nets_) {
    x_.open("PhyNet", {{"name", net}});
    for (const Pad& p : lands_)
      for (bool top : {true, false}) {
        if (p.net != net || !on_side(p, top)) continue;
        const std::string exposure = !p.mask_open  ? "COVERED"
                                     : p.drill > 0 ? "EXPOSED"
                                     : p.top       ? "COVERED_SECONDARY"
                                                   : "COVERED_PRIMARY";
        x_.open("PhyNetPoint", {{"x", mm(p.x)},
                                {"y", mm(p.y)},
                                {"layerRef", side("", top)},
                                {"netNode", is_via(p) ? "MIDDLE" : "END"},
                                {"exposure", exposure},
                                {"via", is_via(p) ? "true" : "false"},
                                {"test", is_test(p) ? "true" : "false"}});
        shape(p.w, p.h);
        x_.close();
      }
    x_.close();
  }
  x_.close();
}

void Writer::pad_set(const Pad& land, const Pad& drawn, const std::string& polarity) {
  const Part* part = part_of(land);
  const Pad p = in_package(drawn);
  x_.open("Set", {{"net", net_of(land)},
                  {"polarity", polarity},
                  {"testPoint", is_test(land) ? "true" : "false"},
                  {"plate", land.drill > 0 && land.plated ? "true" : ""},
                  {"padUsage", usage(land)}});
  x_.open("Pad", {{"padstackDefRef", stack(land)}});
  if (part && drawn.h > 0) turn(*part);
  at(drawn.x, drawn.y);
  shape(p.w, p.h);
  if (part) x_.leaf("PinRef", {{"pin", land.pin}, {"componentRef", land.component}});
  x_.close(2);
}

void Writer::tracks(bool top) {
  std::vector<Track> own;
  std::copy_if(r_.tracks.begin(), r_.tracks.end(), std::back_inserter(own),
               [&](const Track& t) { return t.top == top; });
  for (std::size_t i = 0, end; i < own.size(); i = end) {
    for (end = i + 1; end < own.size() && own[end].net == own[i].net && own[end].x1 == own[end - 1].x2 &&
                      own[end].y1 == own[end - 1].y2;)
      ++end;
    x_.open("Set", {{"net", own[i].net}});
    x_.open("Features");
    at(0, 0);
    if (end == i + 1) {
      x_.open("Line",
              {{"startX", mm(own[i].x1)}, {"startY", mm(own[i].y1)}, {"endX", mm(own[i].x2)}, {"endY", mm(own[i].y2)}});
    } else {
      x_.open("Polyline");
      x_.leaf("PolyBegin", {{"x", mm(own[i].x1)}, {"y", mm(own[i].y1)}});
      for (std::size_t k = i; k < end; ++k) x_.leaf("PolyStepSegment", {{"x", mm(own[k].x2)}, {"y", mm(own[k].y2)}});
    }
    pen(kTrack);
    x_.close(3);
  }
}

void Writer::plane(const std::string& layer, const std::string& net) {
  x_.open("LayerFeature", {{"layerRef", layer}});
  x_.open("Set", {{"net", net}, {"polarity", "POSITIVE"}});
  x_.open("Features");
  at(0, 0);
  x_.open("Contour");
  polygon({{0.5, 0.5}, {kWidth - 0.5, 0.5}, {kWidth - 0.5, kHeight - 0.5}, {0.5, kHeight - 0.5}}, true);
  x_.close(3);
  for (const Pad& p : lands_) {
    if (p.drill == 0 || p.net == net) continue;
    x_.open("Set", {{"polarity", "NEGATIVE"}});
    x_.open("Features");
    at(p.x, p.y);
    shape(clearance(p), 0);
    x_.close(2);
  }
  x_.close();
}

void Writer::drill() {
  x_.open("LayerFeature", {{"layerRef", kDrillLayer}});
  int n = 0;
  for (const Pad& p : lands_) {
    if (p.drill == 0) continue;
    x_.open("Set", {{"net", net_of(p)}, {"geometry", stack(p)}, {"padUsage", p.plated ? "" : usage(p)}});
    x_.leaf("Hole", {{"name", "H" + std::to_string(++n)},
                     {"diameter", mm(p.drill)},
                     {"platingStatus", plating(p)},
                     {"plusTol", "0.0"},
                     {"minusTol", "0.0"},
                     {"x", mm(p.x)},
                     {"y", mm(p.y)}});
    x_.close();
  }
  x_.close();
}

void Writer::layers() {
  for (bool top : {true, false}) {
    x_.open("LayerFeature", {{"layerRef", side("", top)}});
    for (const Pad& p : lands_)
      if (p.plated && on_side(p, top)) pad_set(p, p, "");
    tracks(top);
    x_.close();
    if (top) {
      plane("GND_PLANE", "GND");
      plane("3V3_PLANE", "3V3");
    }
  }
  for (bool top : {true, false}) {
    x_.open("LayerFeature", {{"layerRef", side("MASK_", top)}});
    for (const Pad& p : lands_)
      if (p.mask_open && on_side(p, top)) pad_set(p, opening(p), "POSITIVE");
    x_.close();
    x_.open("LayerFeature", {{"layerRef", side("PASTE_", top)}});
    for (const Pad& p : lands_)
      if (pasted(p) && p.top == top) pad_set(p, p, "");
    x_.close();
    x_.open("LayerFeature", {{"layerRef", side("SILK_", top)}});
    for (const Part& p : d_.parts) {
      if (p.top != top || p.package == "FID") continue;
      const Box b = legend(d_, p);
      x_.open("Set", {{"componentRef", p.name}, {"geometryUsage", "GRAPHIC"}});
      x_.open("Features");
      at(0, 0);
      x_.open("Polyline");
      x_.leaf("PolyBegin", {{"x", mm(b.x0)}, {"y", mm(b.y0)}});
      for (auto [px, py] : {std::pair{b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}, {b.x0, b.y0}})
        x_.leaf("PolyStepSegment", {{"x", mm(px)}, {"y", mm(py)}});
      pen(kLegend);
      x_.close(3);
    }
    x_.close();
  }
  drill();
}

std::string Writer::text() {
  x_.open("Step", {{"name", kBoardName}, {"type", "BOARD"}});
  stacks();
  x_.leaf("Datum", {{"x", "0.0"}, {"y", "0.0"}});
  x_.open("Profile");
  polygon(outline(), false);
  x_.close();
  for (const Part& p : d_.parts) package(p);
  for (const Part& p : d_.parts) component(p);
  logical_nets();
  physical_nets();
  layers();
  x_.close();
  Xml file(0);
  ipc2581_head(file, d_, dict_);
  file.insert(x_);
  file.close(3);
  return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" + file.text();
}
}  // namespace

std::string ipc2581(const Design& d, const Routes& r) {
  return Writer(d, r).text();
}

}  // namespace demo
