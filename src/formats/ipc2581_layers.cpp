// Layer features to painted layers, lands and holes.
#include <algorithm>

#include "ipc2581_reader.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostObjects = 8'000'000;
constexpr std::size_t kMostFeatures = 3'000'000;
constexpr int kDeepest = 8;

Plating plating_of(const XMLElement& hole) {
  const std::string_view p = attribute(hole, "platingStatus");
  return p == "NONPLATED" ? Plating::unplated : p.empty() ? Plating::unknown : Plating::plated;
}
}  // namespace

bool CadReader::no_net(std::string_view net) {
  return net.empty() || net == "No Net" || net == "NO NET" || net == "No_Net" || net == "N/C";
}

void CadReader::keep(CadLayer& layer, GerberObject o) {
  if (++objects_ > kMostObjects) {
    if (objects_ == kMostObjects + 1)
      d_.error("ipc2581-too-large", {name_, o.line, 0, {}}, "more than 8 million objects", {}, {},
               "the file is damaged or hostile");
    return;
  }
  layer.image.objects.push_back(o);
}

std::uint32_t CadReader::attributes(CadLayer& layer, const std::string& net, const std::string& component,
                                    const std::string& pin, const char* function) {
  auto& list = layer.image.attributes;
  auto [it, fresh] =
      made_[&layer].attributes.try_emplace({net, component, pin, function}, static_cast<std::uint32_t>(list.size()));
  if (fresh) {
    GerberAttributes a;
    a.has_net = !net.empty();
    a.net = net;
    a.component = component;
    a.pin = pin;
    a.aper_function = function;
    list.push_back(std::move(a));
  }
  return it->second;
}

std::uint32_t CadReader::pen(CadLayer& layer, double width) {
  auto& list = layer.image.apertures;
  auto [it, fresh] = made_[&layer].pens.try_emplace(width, static_cast<std::uint32_t>(list.size()));
  if (fresh) {
    GerberAperture a;
    a.width = a.height = width;
    a.shape = {{circle({}, width / 2), {}}};
    a.box = bounds(a.shape);
    list.push_back(std::move(a));
  }
  return it->second;
}

std::uint32_t CadReader::transform(CadLayer& layer, const Affine& t) {
  auto& list = layer.image.transforms;
  if (t.a == 1 && t.b == 0 && t.c == 0 && t.d == 1) return 0;
  auto [it, fresh] =
      made_[&layer].transforms.try_emplace({t.a, t.b, t.c, t.d}, static_cast<std::uint32_t>(list.size()));
  if (fresh) list.push_back({t.a, t.b, t.c, t.d, 0, 0});
  return it->second;
}

void CadReader::flash(CadLayer& layer, const CadShape& shape, const Affine& t, bool dark, std::uint32_t attr,
                      std::uint32_t line) {
  if (!shape.filled || shape.aperture.shape.empty()) return;
  auto [it, fresh] =
      made_[&layer].apertures.try_emplace(&shape, static_cast<std::uint32_t>(layer.image.apertures.size()));
  if (fresh) layer.image.apertures.push_back(shape.aperture);
  const Affine whole = combine(t, shape.own);
  GerberObject o;
  o.kind = GerberObject::Kind::flash;
  o.dark = dark;
  o.shape = it->second;
  o.attributes = attr;
  o.line = line;
  o.transform = transform(layer, whole);
  o.start = o.end = {whole.e, whole.f};
  keep(layer, o);
}

void CadReader::region(CadLayer& layer, std::vector<Ring> rings, bool dark, std::uint32_t attr, std::uint32_t line) {
  // Each ring by itself: they abut, and small areas are found and cut faster than one of many parts.
  for (Ring& r : rings) {
    if (r.size() < 3) continue;
    if (signed_area(r) < 0) std::reverse(r.begin(), r.end());
    GerberObject o;
    o.kind = GerberObject::Kind::region;
    o.dark = dark;
    o.attributes = attr;
    o.line = line;
    o.shape = static_cast<std::uint32_t>(layer.image.regions.size());
    layer.image.keep_region({std::move(r)});
    keep(layer, o);
  }
}

/// Ends other than round ones are painted as an area.
void CadReader::straight(CadLayer& layer, Point a, Point b, const LineStyle& style, GerberObject o) {
  if (style.round || a == b) {
    o.kind = GerberObject::Kind::line;
    o.start = a;
    o.end = b;
    return keep(layer, o);
  }
  const Point u = (1 / distance(a, b)) * (b - a), n{-u.y * style.width / 2, u.x * style.width / 2};
  const Point more = (style.extended ? style.width / 2 : 0) * u;
  region(layer, {{a - more - n, b + more - n, b + more + n, a - more + n}}, o.dark, o.attributes, o.line);
}

void CadReader::stroke(const XMLElement& e, CadLayer& layer, const Affine& t, bool dark, std::uint32_t attr) {
  LineStyle style = line_of(e);
  style.width *= std::sqrt(std::abs(t.determinant()));
  if (!(style.width > 0) || style.width > 1000) return;  // width 0 marks an edge; nothing is painted
  GerberObject o;
  o.dark = dark;
  o.attributes = attr;
  o.line = static_cast<std::uint32_t>(e.GetLineNum());
  o.shape = pen(layer, style.width);
  auto get = [&](const XMLElement& s, const char* x, const char* y) {
    return t(Point{length(s, x, 0, k_), length(s, y, 0, k_)});
  };
  auto arc = [&](const XMLElement& s, Point from, Point to) {
    o.kind = GerberObject::Kind::arc;
    o.start = from;
    o.end = to;
    o.clockwise = flag(s, "clockwise") != (t.determinant() < 0);
    o.centre = static_cast<std::uint32_t>(layer.image.centres.size());
    layer.image.centres.push_back(get(s, "centerX", "centerY"));
    keep(layer, o);
  };
  if (local(e) == "Line") return straight(layer, get(e, "startX", "startY"), get(e, "endX", "endY"), style, o);
  if (local(e) == "Arc") return arc(e, get(e, "startX", "startY"), get(e, "endX", "endY"));
  std::optional<Point> from;
  for (const XMLElement& s : children(e)) {
    const std::string_view kind = local(s);
    if (kind != "PolyBegin" && kind != "PolyStepSegment" && kind != "PolyStepCurve") continue;
    const Point to = get(s, "x", "y");
    if (from && kind == "PolyStepCurve")
      arc(s, *from, to);
    else if (from)
      straight(layer, *from, to, style, o);
    from = to;
  }
}

void CadReader::feature(const XMLElement& e, CadLayer& layer, const Affine& t, bool dark, std::uint32_t attr,
                        int depth) {
  const std::string_view kind = local(e);
  const auto line = static_cast<std::uint32_t>(e.GetLineNum());
  // What paints nothing counts as well: user primitives multiply.
  if (++steps_ > kMostFeatures) {
    if (steps_ == kMostFeatures + 1)
      d_.error("ipc2581-too-large", at(e), "more than 3 million features", {}, {}, "the file is damaged or hostile");
    return;
  }
  if (kind == "Location" || kind == "Xform" || kind == "NonstandardAttribute" || kind == "ColorRef") return;
  if (kind == "Line" || kind == "Arc" || kind == "Polyline") return stroke(e, layer, t, dark, attr);
  if (kind == "Contour" || kind == "Outline") {
    if (fills(e) && (!child(e, "Polygon") || fills(*child(e, "Polygon"))))
      region(layer, contour(e, k_, t), dark, attr, line);
    return;
  }
  if (kind == "UserSpecial") {
    const Affine inner = combine(t, xform(child(e, "Xform"), k_));
    if (depth < kDeepest)
      for (const XMLElement& c : children(e)) {
        if (objects_ > kMostObjects || steps_ > kMostFeatures) return;
        feature(c, layer, inner, dark, attr, depth + 1);
      }
    return;
  }
  if (kind == "UserPrimitiveRef") {
    const auto it = user_.find(std::string(attribute(e, "id")));
    if (it == user_.end())
      return fail("ipc2581-reference", e, "no user primitive of this name is in the dictionary",
                  std::string(attribute(e, "id").substr(0, 60)));
    if (depth >= kDeepest) return fail("ipc2581-too-deep", e, "user primitives are nested too deeply");
    const double before = k_;
    k_ = it->second.second;
    feature(*it->second.first, layer, t, dark, attr, depth + 1);
    k_ = before;
    return;
  }
  if (const CadShape* s = shape_of(e)) {
    // Round shapes stay flashes; on copper only lands may be flashes, so that no feature is taken for one.
    if (layer.kind != CadLayer::Kind::copper) return flash(layer, *s, t, dark, attr, line);
    if (!s->filled) return;
    std::vector<Ring> rings;
    for (Polygon& p : transformed(s->aperture.shape, combine(t, s->own))) hole_free(std::move(p), rings);
    region(layer, std::move(rings), dark, attr, line);
  }
}

void CadReader::features(const XMLElement& f, CadLayer& layer, bool dark, std::uint32_t attr) {
  const Affine turn = xform(child(f, "Xform"), k_);
  bool placed = false;
  for (const XMLElement& c : children(f)) {
    if (local(c) != "Location") continue;
    placed = true;
    Affine t = turn;
    t.e += length(c, "x", 0, k_);
    t.f += length(c, "y", 0, k_);
    for (const XMLElement& shape : children(f)) feature(shape, layer, t, dark, attr, 0);
  }
  if (!placed)
    for (const XMLElement& shape : children(f)) feature(shape, layer, turn, dark, attr, 0);
}

void CadReader::pad(const XMLElement& p, const XMLElement& set, CadLayer& layer, bool dark) {
  const std::string_view usage = attribute(set, "padUsage");
  const bool fiducial = usage == "FIDUCIAL" || local(p) == "GlobalFiducial" || local(p) == "LocalFiducial" ||
                        local(p) == "GoodPanelMark" || local(p) == "BadBoardMark";
  const bool test = flag(set, "testPoint");
  std::string net(attribute(set, "net")), component, pin;
  if (no_net(net)) net.clear();
  if (const XMLElement* ref = child(p, "PinRef")) {
    component = attribute(*ref, "componentRef");
    pin = attribute(*ref, "pin");
    if (component.empty()) component = attribute(set, "componentRef");
  }
  Affine t = xform(child(p, "Xform"), k_);
  const Point at = location(p);
  t.e += at.x;
  t.f += at.y;
  const auto line = static_cast<std::uint32_t>(p.GetLineNum());
  const char* function = fiducial ? "FiducialPad,Global" : usage == "VIA" && !test ? "ViaPad" : test ? "TestPad" : "";
  const std::uint32_t attr = attributes(layer, net, component, pin, function);
  const CadShape* shape = shape_in(p);
  const std::size_t first = layer.image.objects.size();
  bool drawn = shape != nullptr;
  for (const XMLElement& c : children(p))
    if (!shape && local(c) == "UserPrimitiveRef") {
      feature(c, layer, t, dark, attr, 0);
      drawn = true;
    }
  if (!drawn) {
    // Without a shape of its own a pad has that of its stack on this layer.
    const auto stack =
        pad_stacks_.find({std::string(attribute(p, "padstackDefRef")), layer.image.name.substr(name_.size() + 1)});
    if (stack == pad_stacks_.end())
      return fail("ipc2581-pad-shape", p, "a pad has no shape", "layer " + layer.image.name,
                  "a shape, or a pad stack that has one on this layer");
    const Point move = location(*stack->second);
    t = combine(t, Affine{1, 0, 0, 1, move.x, move.y});
    shape = shape_in(*stack->second);
  }
  if (shape) flash(layer, *shape, t, dark, attr, line);
  if (layer.kind != CadLayer::Kind::copper || layer.side < 0 || !dark || usage == "THIEVING" ||
      usage == "THERMAL_RELIEF" || usage == "PLANE")
    return;
  CadLand l;
  l.side = layer.side;
  l.line = line;
  l.via = usage == "VIA";
  l.fiducial = fiducial;
  l.tooling = usage == "TOOLING_HOLE";
  l.test = test;
  l.net = net;
  l.component = component;
  l.pin = pin;
  l.origin = {t.e, t.f};
  if (shape) {
    const Affine whole = combine(t, shape->own);
    const double scale = std::sqrt(std::abs(whole.determinant()));
    l.shape = shape;
    l.whole = whole;
    l.width = scale * shape->aperture.width;
    l.height = scale * shape->aperture.height;
    l.round = shape->aperture.kind == GerberAperture::Kind::circle;
    l.turn = std::atan2(whole.c, whole.a) * 180 / 3.14159265358979323846;  // of the shape's own x axis
  }
  if (!shape) {
    // Drawn by a user primitive: its box, which lies about the pad's place.
    Box box;
    for (std::size_t i = first; i < layer.image.objects.size(); ++i)
      box.add(box_of(layer.image, layer.image.objects[i]));
    if (!box.valid()) return;
    l.width = box.width();
    l.height = box.height();
  }
  lands_.push_back(std::move(l));
}

void CadReader::set(const XMLElement& s, CadLayer& layer) {
  const bool dark = attribute(s, "polarity") != "NEGATIVE";
  std::optional<std::uint32_t> attr;
  for (const XMLElement& c : children(s)) {
    const std::string_view kind = local(c);
    if (kind == "Pad" || kind == "GlobalFiducial" || kind == "LocalFiducial" || kind == "GoodPanelMark" ||
        kind == "BadBoardMark") {
      pad(c, s, layer, dark);
    } else if (kind == "Features" || kind == "Fiducial") {
      if (!attr) {
        std::string net(attribute(s, "net"));
        if (no_net(net)) net.clear();
        attr = attributes(layer, net, "", "", layer.kind == CadLayer::Kind::copper ? "Conductor" : "");
      }
      features(c, layer, dark, *attr);
    }
  }
}

/// A cavity as a slot: its outline's longest and shortest extent over all directions in whole degrees.
void CadReader::slot(const XMLElement& cavity, const std::string& net, int first, int last) {
  Affine t = xform(child(cavity, "Xform"), k_);
  const Point move = location(cavity);
  t.e += move.x;
  t.f += move.y;
  std::vector<Point> points;
  for (const XMLElement& c : children(cavity)) {
    if (local(c) == "Outline" || local(c) == "Contour") {
      for (const Ring& r : contour(c, k_, t)) points.insert(points.end(), r.begin(), r.end());
    } else if (local(c) != "Location" && local(c) != "Xform" && local(c) != "SlotCavityRef") {
      if (const CadShape* s = shape_of(c))
        for (const Polygon& p : transformed(s->aperture.shape, combine(t, s->own)))
          points.insert(points.end(), p.outer.begin(), p.outer.end());
    }
  }
  const Ring hull = convex_hull(std::move(points));
  if (hull.size() < 3)
    return fail("ipc2581-slot", cavity, "a slot has no outline that is read", std::string(attribute(cavity, "name")));
  double width = 1e300, longest = 0;
  Point direction{1, 0}, middle;
  for (int degrees = 0; degrees < 180; ++degrees) {
    const double a = degrees * 3.14159265358979323846 / 180;
    const Point u{std::cos(a), std::sin(a)}, v{-u.y, u.x};
    double lo = 1e300, hi = -1e300, left = 1e300, right = -1e300;
    for (Point p : hull) {
      lo = std::min(lo, dot(p, u));
      hi = std::max(hi, dot(p, u));
      left = std::min(left, dot(p, v));
      right = std::max(right, dot(p, v));
    }
    if (right - left < width - 1e-9) {
      width = right - left;
      longest = hi - lo;
      direction = u;
      middle = (lo + hi) / 2 * u + (left + right) / 2 * v;
    }
  }
  Hole h;
  // Neither a circle nor an obround: no hole that a pin could locate on.
  const double round = width * (longest - width) + 3.14159265358979323846 / 4 * width * width;
  const bool odd = std::abs(std::abs(signed_area(hull)) - round) > 0.05 * round;
  h.diameter = width;
  h.slot = longest > width + 0.01 || odd;
  const Point half = longest > width + 0.01 ? (longest - width) / 2 * direction : Point{};
  h.at = middle - half;
  h.end = middle + half;
  h.plating = plating_of(cavity);
  h.line = static_cast<std::uint32_t>(cavity.GetLineNum());
  h.first_layer = first;
  h.last_layer = last;
  holes_.push_back({h, net});
}

void CadReader::drills(const XMLElement& list, int first, int last) {
  for (const XMLElement& s : children(list)) {
    if (local(s) != "Set") continue;
    std::string net(attribute(s, "net"));
    if (no_net(net)) net.clear();
    for (const XMLElement& c : children(s)) {
      if (local(c) == "SlotCavity") slot(c, net, first, last);
      if (local(c) != "Hole") continue;
      Hole h;
      h.at = h.end = {length(c, "x", 0, k_), length(c, "y", 0, k_)};
      h.diameter = length(c, "diameter", 0, k_);
      if (!(h.diameter > 0) || h.diameter > 200) {
        fail("ipc2581-hole", c, "a hole's diameter is out of range", std::string(attribute(c, "diameter")),
             "above 0 and below 200 mm");
        continue;
      }
      h.plating = plating_of(c);
      h.line = static_cast<std::uint32_t>(c.GetLineNum());
      h.first_layer = first;
      h.last_layer = last;
      holes_.push_back({h, net});
    }
  }
}

void CadReader::layer_features(const XMLElement& step) {
  for (const XMLElement& e : children(step)) {
    if (local(e) != "LayerFeature") continue;
    const std::string name(attribute(e, "layerRef"));
    if (!layer_side_.count(name)) {
      fail("ipc2581-reference", e, "features lie on a layer that the file does not list", name);
      continue;
    }
    if (auto drill = drill_span_.find(name); drill != drill_span_.end()) drills(e, drill->second[0], drill->second[1]);
    const auto it = layer_index_.find(name);
    if (it == layer_index_.end()) continue;
    for (const XMLElement& s : children(e))
      if (local(s) == "Set") set(s, out_.layers[it->second]);
  }
}

}  // namespace teasel::formats
