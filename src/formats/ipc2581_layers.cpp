// Turns layer features into painted layers, lands and holes.
#include <algorithm>

#include "ipc2581_reader.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostObjects = 3'000'000;
constexpr std::size_t kMostFeatures = 3'000'000;
constexpr int kDeepest = 8;

Plating plating_of(const XMLElement& hole) {
  const std::string_view status = attribute(hole, "platingStatus");
  if (status == "NONPLATED") return Plating::unplated;
  return status.empty() ? Plating::unknown : Plating::plated;
}
}  // namespace

bool CadReader::no_net(std::string_view net) {
  return net.empty() || net == "No Net" || net == "NO NET" || net == "No_Net" || net == "N/C";
}

void CadReader::keep(CadLayer& layer, GerberObject object) {
  if (++objects_ > kMostObjects) {
    if (objects_ == kMostObjects + 1)
      diagnostics_.error({.code = "ipc2581-too-large",
                          .at = {name_, object.line, 0, {}},
                          .message = "the file has more than 3 million objects",
                          .remedy = "the file is damaged or hostile"});
    return;
  }
  layer.image.objects.push_back(object);
}

std::uint32_t CadReader::attributes(CadLayer& layer, const std::string& net, const std::string& component,
                                    const std::string& pin, const char* function) {
  auto& list = layer.image.attributes;
  auto [it, fresh] =
      made_[&layer].attributes.try_emplace({net, component, pin, function}, static_cast<std::uint32_t>(list.size()));
  if (fresh) {
    GerberAttributes made;
    made.has_net = !net.empty();
    made.net = net;
    made.component = component;
    made.pin = pin;
    made.aper_function = function;
    list.push_back(std::move(made));
  }
  return it->second;
}

std::uint32_t CadReader::pen(CadLayer& layer, double width) {
  auto& list = layer.image.apertures;
  auto [it, fresh] = made_[&layer].pens.try_emplace(width, static_cast<std::uint32_t>(list.size()));
  if (fresh) {
    GerberAperture made;
    made.width = made.height = Mm{width};
    made.shape = {{circle({}, width / 2), {}}};
    made.box = bounds(made.shape);
    list.push_back(std::move(made));
  }
  return it->second;
}

std::uint32_t CadReader::transform(CadLayer& layer, const Affine& map) {
  auto& list = layer.image.transforms;
  if (map.a == 1 && map.b == 0 && map.c == 0 && map.d == 1) return 0;
  auto [it, fresh] =
      made_[&layer].transforms.try_emplace({map.a, map.b, map.c, map.d}, static_cast<std::uint32_t>(list.size()));
  if (fresh) list.push_back({map.a, map.b, map.c, map.d, 0, 0});
  return it->second;
}

void CadReader::flash(CadLayer& layer, const CadShape& shape, const Affine& map, bool dark, std::uint32_t attr,
                      std::uint32_t line) {
  if (!shape.filled || shape.aperture.shape.empty()) return;
  auto [it, fresh] =
      made_[&layer].apertures.try_emplace(&shape, static_cast<std::uint32_t>(layer.image.apertures.size()));
  if (fresh) layer.image.apertures.push_back(shape.aperture);
  const Affine whole = combine(map, shape.own);
  GerberObject object;
  object.kind = GerberObject::Kind::flash;
  object.dark = dark;
  object.shape = it->second;
  object.attributes = attr;
  object.line = line;
  object.transform = transform(layer, whole);
  object.start = object.end = {whole.e, whole.f};
  keep(layer, object);
}

void CadReader::region(CadLayer& layer, std::vector<Ring> rings, bool dark, std::uint32_t attr, std::uint32_t line) {
  // The rings abut. Each is kept by itself, since small areas are found and cut faster than one of many parts.
  for (Ring& ring : rings) {
    if (ring.size() < 3) continue;
    if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
    GerberObject object;
    object.kind = GerberObject::Kind::region;
    object.dark = dark;
    object.attributes = attr;
    object.line = line;
    object.shape = static_cast<std::uint32_t>(layer.image.regions.size());
    layer.image.keep_region({std::move(ring)});
    keep(layer, object);
  }
}

/// A line whose ends are not round is painted as an area.
void CadReader::straight(CadLayer& layer, Point a, Point b, const LineStyle& style, GerberObject object) {
  if (style.round || a == b) {
    object.kind = GerberObject::Kind::line;
    object.start = a;
    object.end = b;
    return keep(layer, object);
  }
  const Point along = (1 / distance(a, b)) * (b - a), across{-along.y * style.width / 2, along.x * style.width / 2};
  const Point more = (style.extended ? style.width / 2 : 0) * along;
  region(layer, {{a - more - across, b + more - across, b + more + across, a - more + across}}, object.dark,
         object.attributes, object.line);
}

void CadReader::stroke(const XMLElement& element, CadLayer& layer, const Affine& map, bool dark, std::uint32_t attr) {
  LineStyle style = line_of(element);
  style.width *= std::sqrt(std::abs(map.determinant()));
  if (!(style.width > 0) || style.width > 1000) return;  // width 0 marks an edge; nothing is painted
  GerberObject object;
  object.dark = dark;
  object.attributes = attr;
  object.line = static_cast<std::uint32_t>(element.GetLineNum());
  object.shape = pen(layer, style.width);
  auto get = [&](const XMLElement& step, const char* x, const char* y) {
    return map(Point{length(step, x, 0, scale_), length(step, y, 0, scale_)});
  };
  auto arc = [&](const XMLElement& step, Point from, Point to) {
    object.kind = GerberObject::Kind::arc;
    object.start = from;
    object.end = to;
    object.clockwise = flag(step, "clockwise") != (map.determinant() < 0);
    object.centre = static_cast<std::uint32_t>(layer.image.centres.size());
    layer.image.centres.push_back(get(step, "centerX", "centerY"));
    keep(layer, object);
  };
  if (local(element) == "Line")
    return straight(layer, get(element, "startX", "startY"), get(element, "endX", "endY"), style, object);
  if (local(element) == "Arc") return arc(element, get(element, "startX", "startY"), get(element, "endX", "endY"));
  std::optional<Point> from;
  for (const XMLElement& step : children(element)) {
    const std::string_view kind = local(step);
    if (kind != "PolyBegin" && kind != "PolyStepSegment" && kind != "PolyStepCurve") continue;
    const Point to = get(step, "x", "y");
    if (from && kind == "PolyStepCurve")
      arc(step, *from, to);
    else if (from)
      straight(layer, *from, to, style, object);
    from = to;
  }
}

void CadReader::feature(const XMLElement& element, CadLayer& layer, const Affine& map, bool dark, std::uint32_t attr,
                        int depth) {
  const std::string_view kind = local(element);
  const auto line = static_cast<std::uint32_t>(element.GetLineNum());
  // Features that paint nothing are counted as well, since user primitives multiply.
  if (++steps_ > kMostFeatures) {
    if (steps_ == kMostFeatures + 1)
      diagnostics_.error({.code = "ipc2581-too-large",
                          .at = at(element),
                          .message = "the file has more than 3 million features",
                          .remedy = "the file is damaged or hostile"});
    return;
  }
  if (kind == "Location" || kind == "Xform" || kind == "NonstandardAttribute" || kind == "ColorRef") return;
  if (kind == "Line" || kind == "Arc" || kind == "Polyline") return stroke(element, layer, map, dark, attr);
  if (kind == "Contour" || kind == "Outline") {
    if (fills(element) && (!child(element, "Polygon") || fills(*child(element, "Polygon"))))
      region(layer, contour(element, scale_, map), dark, attr, line);
    return;
  }
  if (kind == "UserSpecial") {
    const Affine inner_map = combine(map, xform(child(element, "Xform"), scale_));
    if (depth < kDeepest)
      for (const XMLElement& inner : children(element)) {
        if (objects_ > kMostObjects || steps_ > kMostFeatures) return;
        feature(inner, layer, inner_map, dark, attr, depth + 1);
      }
    return;
  }
  if (kind == "UserPrimitiveRef") {
    const auto it = user_.find(std::string(attribute(element, "id")));
    if (it == user_.end())
      return fail("ipc2581-reference", element, "no user primitive of this name is in the dictionary",
                  std::string(attribute(element, "id").substr(0, 60)));
    if (depth >= kDeepest) return fail("ipc2581-too-deep", element, "user primitives are nested too deeply");
    const double before = scale_;
    scale_ = it->second.second;
    feature(*it->second.first, layer, map, dark, attr, depth + 1);
    scale_ = before;
    return;
  }
  if (const CadShape* shape = shape_of(element)) {
    // Shapes stay flashes, but not on copper: there only lands are flashes, so that no feature is taken for a land.
    if (layer.kind != CadLayer::Kind::copper) return flash(layer, *shape, map, dark, attr, line);
    if (!shape->filled) return;
    std::vector<Ring> rings;
    for (Polygon& polygon : transformed(shape->aperture.shape, combine(map, shape->own)))
      hole_free(std::move(polygon), rings);
    region(layer, std::move(rings), dark, attr, line);
  }
}

void CadReader::features(const XMLElement& features_element, CadLayer& layer, bool dark, std::uint32_t attr) {
  const Affine turn = xform(child(features_element, "Xform"), scale_);
  bool placed = false;
  for (const XMLElement& inner : children(features_element)) {
    if (local(inner) != "Location") continue;
    placed = true;
    Affine map = turn;
    map.e += length(inner, "x", 0, scale_);
    map.f += length(inner, "y", 0, scale_);
    for (const XMLElement& shape : children(features_element)) feature(shape, layer, map, dark, attr, 0);
  }
  if (!placed)
    for (const XMLElement& shape : children(features_element)) feature(shape, layer, turn, dark, attr, 0);
}

void CadReader::pad(const XMLElement& element, const XMLElement& set, CadLayer& layer, bool dark) {
  std::string_view usage = attribute(set, "padUsage");
  // A pad stack of the step says by its hole what it is.
  if (const XMLElement* hole = local(set) == "PadStack" ? child(set, "LayerHole") : nullptr)
    if (attribute(*hole, "platingStatus") == "VIA") usage = "VIA";
  const bool fiducial = usage == "FIDUCIAL" || local(element) == "GlobalFiducial" ||
                        local(element) == "LocalFiducial" || local(element) == "GoodPanelMark" ||
                        local(element) == "BadBoardMark";
  const bool test = flag(set, "testPoint");
  std::string net(attribute(set, "net")), component, pin;
  if (no_net(net)) net.clear();
  if (const XMLElement* ref = child(element, "PinRef")) {
    component = attribute(*ref, "componentRef");
    pin = attribute(*ref, "pin");
    if (component.empty()) component = attribute(set, "componentRef");
  }
  Affine map = xform(child(element, "Xform"), scale_);
  const Point at = location(element);
  map.e += at.x;
  map.f += at.y;
  const auto line = static_cast<std::uint32_t>(element.GetLineNum());
  const char* function = "";
  if (usage == "VIA") function = "ViaPad";
  if (test) function = "TestPad";
  if (fiducial) function = "FiducialPad,Global";
  const std::uint32_t attr = attributes(layer, net, component, pin, function);
  const CadShape* shape = shape_in(element);
  const std::size_t first = layer.image.objects.size();
  bool drawn = shape != nullptr;
  for (const XMLElement& inner : children(element))
    if (!shape && local(inner) == "UserPrimitiveRef") {
      feature(inner, layer, map, dark, attr, 0);
      drawn = true;
    }
  if (!drawn) {
    // A pad without a shape of its own has the shape of its stack on this layer.
    const auto stack = pad_stacks_.find(
        {std::string(attribute(element, "padstackDefRef")), layer.image.name.substr(name_.size() + 1)});
    if (stack == pad_stacks_.end())
      return fail("ipc2581-pad-shape", element, "a pad has no shape", "layer " + layer.image.name,
                  "a shape, or a pad stack with a shape on this layer");
    const Point move = location(*stack->second);
    map = combine(map, Affine{1, 0, 0, 1, move.x, move.y});
    shape = shape_in(*stack->second);
  }
  if (shape) flash(layer, *shape, map, dark, attr, line);
  if (layer.kind != CadLayer::Kind::copper || !layer.side || !dark || usage == "THIEVING" ||
      usage == "THERMAL_RELIEF" || usage == "PLANE")
    return;
  CadLand land;
  land.side = *layer.side;
  land.line = line;
  land.via = usage == "VIA";
  land.fiducial = fiducial;
  land.tooling = usage == "TOOLING_HOLE";
  land.test = test;
  land.net = net;
  land.component = component;
  land.pin = pin;
  land.origin = {map.e, map.f};
  if (size_of_land(land, shape, map, layer, first)) lands_.push_back(std::move(land));
}

/// Takes a land's size from its shape, or from the box of the objects from `first` on. False if these draw nothing.
bool CadReader::size_of_land(CadLand& land, const CadShape* shape, const Affine& map, const CadLayer& layer,
                             std::size_t first) {
  if (shape) {
    const Affine whole = combine(map, shape->own);
    const double scale = std::sqrt(std::abs(whole.determinant()));
    land.shape = shape;
    land.whole = whole;
    land.width = scale * shape->aperture.width;
    land.height = scale * shape->aperture.height;
    land.round = shape->aperture.kind == GerberAperture::Kind::circle;
    land.turn = Degrees{std::atan2(whole.c, whole.a) * 180 / 3.14159265358979323846};  // of the shape's own x axis
    return true;
  }
  // A user primitive drew the pad: its box, which lies about the pad's place, stands for it.
  Box box;
  for (std::size_t i = first; i < layer.image.objects.size(); ++i) box.add(box_of(layer.image, layer.image.objects[i]));
  land.width = Mm{box.width()};
  land.height = Mm{box.height()};
  return box.valid();
}

void CadReader::set(const XMLElement& element, CadLayer& layer) {
  const bool dark = attribute(element, "polarity") != "NEGATIVE";
  std::optional<std::uint32_t> attr;
  for (const XMLElement& inner : children(element)) {
    const std::string_view kind = local(inner);
    if (kind == "Pad" || kind == "GlobalFiducial" || kind == "LocalFiducial" || kind == "GoodPanelMark" ||
        kind == "BadBoardMark") {
      pad(inner, element, layer, dark);
    } else if (kind == "Features" || kind == "Fiducial") {
      if (!attr) {
        std::string net(attribute(element, "net"));
        if (no_net(net)) net.clear();
        attr = attributes(layer, net, "", "", layer.kind == CadLayer::Kind::copper ? "Conductor" : "");
      }
      features(inner, layer, dark, *attr);
    }
  }
}

/// Reads a cavity as a slot, from the longest and the shortest extent of its outline in all whole degrees.
void CadReader::slot(const XMLElement& cavity, const std::string& net, int first, int last) {
  Affine map = xform(child(cavity, "Xform"), scale_);
  const Point move = location(cavity);
  map.e += move.x;
  map.f += move.y;
  std::vector<Point> points;
  for (const XMLElement& inner : children(cavity)) {
    if (local(inner) == "Outline" || local(inner) == "Contour") {
      for (const Ring& ring : contour(inner, scale_, map)) points.insert(points.end(), ring.begin(), ring.end());
    } else if (local(inner) != "Location" && local(inner) != "Xform" && local(inner) != "SlotCavityRef") {
      if (const CadShape* shape = shape_of(inner))
        for (const Polygon& polygon : transformed(shape->aperture.shape, combine(map, shape->own)))
          points.insert(points.end(), polygon.outer.begin(), polygon.outer.end());
    }
  }
  const Ring hull = convex_hull(std::move(points));
  if (hull.size() < 3)
    return fail("ipc2581-slot", cavity, "a slot has no outline that can be read",
                std::string(attribute(cavity, "name")));
  double width = 1e300, longest = 0;
  Point direction{1, 0}, middle;
  for (int degrees = 0; degrees < 180; ++degrees) {
    const double angle = degrees * 3.14159265358979323846 / 180;
    const Point along{std::cos(angle), std::sin(angle)}, across{-along.y, along.x};
    double lo = 1e300, hi = -1e300, left = 1e300, right = -1e300;
    for (Point point : hull) {
      lo = std::min(lo, dot(point, along));
      hi = std::max(hi, dot(point, along));
      left = std::min(left, dot(point, across));
      right = std::max(right, dot(point, across));
    }
    if (right - left < width - 1e-9) {
      width = right - left;
      longest = hi - lo;
      direction = along;
      middle = (lo + hi) / 2 * along + (left + right) / 2 * across;
    }
  }
  Hole hole;
  // What is neither a circle nor an obround is no hole that a pin could locate on.
  const double round = width * (longest - width) + 3.14159265358979323846 / 4 * width * width;
  const bool odd = std::abs(std::abs(signed_area(hull)) - round) > 0.05 * round;
  hole.diameter = Mm{width};
  hole.slot = longest > width + 0.01 || odd;
  const Point half = longest > width + 0.01 ? (longest - width) / 2 * direction : Point{};
  hole.at = middle - half;
  hole.end = middle + half;
  hole.plating = plating_of(cavity);
  hole.line = static_cast<std::uint32_t>(cavity.GetLineNum());
  hole.first_layer = first;
  hole.last_layer = last;
  holes_.push_back({hole, net});
}

void CadReader::drills(const XMLElement& list, int first, int last) {
  for (const XMLElement& set : children(list)) {
    if (local(set) != "Set") continue;
    std::string net(attribute(set, "net"));
    if (no_net(net)) net.clear();
    for (const XMLElement& inner : children(set)) {
      if (local(inner) == "SlotCavity") slot(inner, net, first, last);
      if (local(inner) == "Hole") round_hole(inner, net, first, last);
    }
  }
}

void CadReader::round_hole(const XMLElement& element, const std::string& net, int first, int last) {
  Hole hole;
  hole.at = hole.end = {length(element, "x", 0, scale_), length(element, "y", 0, scale_)};
  hole.diameter = Mm{length(element, "diameter", 0, scale_)};
  if (!(hole.diameter > Mm{}) || hole.diameter > Mm{200})
    return fail("ipc2581-hole", element, "a hole's diameter is out of range",
                std::string(attribute(element, "diameter")), "above 0 and below 200 mm");
  hole.plating = plating_of(element);
  hole.line = static_cast<std::uint32_t>(element.GetLineNum());
  hole.first_layer = first;
  hole.last_layer = last;
  holes_.push_back({hole, net});
}

/// A pad stack that stands in the step itself: its pads by layer, and its hole from layer to layer.
void CadReader::pad_stack(const XMLElement& stack) {
  std::string net(attribute(stack, "net"));
  if (no_net(net)) net.clear();
  for (const XMLElement& inner : children(stack)) {
    if (local(inner) == "LayerPad") {
      const auto it = layer_index_.find(std::string(attribute(inner, "layerRef")));
      if (it != layer_index_.end()) pad(inner, stack, board_.layers[it->second], true);
    }
    if (local(inner) != "LayerHole") continue;
    const XMLElement* named = child(inner, "Span");
    const auto span = (named ? span_of(*named) : std::nullopt).value_or(std::array<int, 2>{});
    round_hole(inner, net, span[0], span[1]);
  }
}

std::optional<std::array<int, 2>> CadReader::span_of(const XMLElement& span) const {
  const auto from = copper_number_.find(std::string(attribute(span, "fromLayer"))),
             to = copper_number_.find(std::string(attribute(span, "toLayer")));
  if (from == copper_number_.end() || to == copper_number_.end()) return std::nullopt;
  const auto [first, last] = std::minmax(from->second, to->second);
  if (first == 1 && last == board_.copper_layers) return std::array<int, 2>{};
  return std::array<int, 2>{first, last};
}

void CadReader::layer_features(const XMLElement& step) {
  for (const XMLElement& element : children(step)) {
    if (local(element) == "PadStack") pad_stack(element);
    if (local(element) != "LayerFeature") continue;
    const std::string name(attribute(element, "layerRef"));
    if (!layer_side_.count(name)) {
      fail("ipc2581-reference", element, "features lie on a layer that the file does not list", name);
      continue;
    }
    if (auto drill = drill_span_.find(name); drill != drill_span_.end())
      drills(element, drill->second[0], drill->second[1]);
    const auto it = layer_index_.find(name);
    if (it == layer_index_.end()) continue;
    for (const XMLElement& inner : children(element))
      if (local(inner) == "Set") set(inner, board_.layers[it->second]);
  }
}

}  // namespace teasel::formats
