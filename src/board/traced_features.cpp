// Pads and nets of a board that is known from its copper alone: holes and flashes of the outer layers are the pads,
// traced copper makes the nets. Attributes name what they can; without them components are unknown.
#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "build.h"

namespace teasel {

namespace {
using formats::GerberObject;

constexpr Mm kViaMost{0.5};  // smaller plated holes are taken as vias (common practice, no source)

class Tracer {
 public:
  Tracer(Board& board, const Layers& layers)
      : board_(board), copper_(*board.connectivity.copper), layers_(layers), at_hole_(0.2) {}
  void run();

 private:
  NetId net(CopperNetId traced);
  void drilled();
  void flashes(std::size_t layer, Side side);
  void bare_openings(Side side);
  void land(Feature& feature, Side side, const formats::GerberFile& file, const GerberObject& object);
  void attribute(Feature& feature, const formats::GerberFile& file, const GerberObject& object);
  ComponentId component(const std::string& name);
  std::string made_name(const Feature& feature) const;
  void add(Feature feature);
  /// The traced layer that is this side's copper; one past the end if there is none.
  std::size_t layer_of(Side side) const {
    const LayerImage* image = copper(side);
    for (std::size_t i = 0; i < copper_.layers().size(); ++i)
      if (image && copper_.layers()[i].file == &image->file()) return i;
    return copper_.layers().size();
  }
  const LayerImage* copper(Side side) const {
    const auto& list = layers_.copper[side];
    return list.empty() ? nullptr : &list[0];
  }

  Board& board_;
  const CopperNets& copper_;
  const Layers& layers_;
  PointGrid at_hole_;
  std::map<std::string, ComponentId> components_;
  std::map<std::string, int> names_;
  std::set<std::tuple<NetId, ComponentId, std::string>> pins_;  ///< net, part and pin that were counted
  std::map<CopperNetId, NetId> nets_;
};

ComponentId Tracer::component(const std::string& name) {
  auto [it, fresh] = components_.try_emplace(name, board_.components.next());
  if (fresh) board_.components.emplace_back().name = PartName(name);
  return it->second;
}

void Tracer::attribute(Feature& feature, const formats::GerberFile& file, const GerberObject& object) {
  const auto& attributes = file.attributes[object.attributes];
  if (!attributes.component.empty() && !feature.component) {
    feature.component = component(attributes.component);
    feature.pin = attributes.pin;
  }
  const std::string& kind = attributes.aper_function;
  if (kind == "ViaPad") feature.kind = FeatureKind::via;
  if (kind == "ComponentPad") feature.kind = FeatureKind::lead;
}

void Tracer::land(Feature& feature, Side side, const formats::GerberFile& file, const GerberObject& object) {
  Land& land = feature.land[side];
  const Box box = formats::box_of(file, object);
  land.present = true;
  if (std::max(box.width(), box.height()) <= std::max(land.width, land.height).v) return;
  land.width = Mm{box.width()};
  land.height = Mm{box.height()};
  land.round = file.apertures[object.shape].kind == formats::GerberAperture::Kind::circle;
}

std::string Tracer::made_name(const Feature& feature) const {
  if (feature.component && feature.kind != FeatureKind::via)
    return board_.components[feature.component].name + (feature.pin.empty() ? "" : "-" + feature.pin);
  const std::string at = fixed(feature.at.x, 3) + "/" + fixed(feature.at.y, 3);
  if (feature.kind == FeatureKind::via) return "via@" + at;
  return (feature.kind == FeatureKind::unplated_hole ? "hole@" : "pad@") + at;
}

void Tracer::add(Feature feature) {
  std::string name = made_name(feature);
  if (const int count = ++names_[name]; count > 1) name += "#" + std::to_string(count);
  feature.name = PadName(name);
  const FeatureId id = board_.features.next();
  if (feature.net) {
    Net& net = board_.nets[feature.net];
    net.features.push_back(id);
    if (feature.kind != FeatureKind::via && feature.kind != FeatureKind::unplated_hole &&
        (!feature.component || feature.pin.empty() ||
         pins_.emplace(feature.net, feature.component, feature.pin).second))
      ++net.pins;
  }
  if (feature.component) board_.components[feature.component].features.push_back(id);
  board_.features.push_back(std::move(feature));
}

/// The board's net for a traced one; nets without pads (lettering, fills) get none.
NetId Tracer::net(CopperNetId traced) {
  if (!traced) return {};
  auto [it, fresh] = nets_.try_emplace(traced, board_.nets.next());
  if (fresh) board_.nets.emplace_back().name = NetName(copper_.nets()[traced].name);
  return it->second;
}

/// Plated holes with a land on an outer layer, unplated holes.
void Tracer::drilled() {
  for (const HoleId id : board_.holes.ids()) {
    const BoardHole& hole = board_.holes[id];
    const bool through = hole.first_layer <= 1 || hole.last_layer == 0 || hole.last_layer >= board_.copper_layers;
    if (!through || hole.diameter <= Mm{}) continue;
    Feature feature;
    feature.at = 0.5 * (hole.at + hole.end);
    feature.hole = hole.diameter;
    feature.place = hole.place;
    feature.slot = hole.slot ? 0.5 * (hole.end - hole.at) : Point{};
    feature.first_layer = hole.first_layer;
    feature.last_layer = hole.last_layer;
    feature.plated = hole.plating == formats::Plating::plated;
    if (!feature.plated) {
      if (hole.slot) continue;  // a cut, often of the board's own edge
      feature.kind = FeatureKind::unplated_hole;
      add(std::move(feature));
      continue;
    }
    feature.net = net(copper_.net_of_hole(id.index()));
    feature.kind = !hole.slot && hole.diameter <= kViaMost ? FeatureKind::via : FeatureKind::lead;
    for (Side side : {Side::top, Side::bottom}) {
      const LayerImage* image = copper(side);
      if (!image || (side == Side::bottom && hole.last_layer && hole.last_layer < board_.copper_layers) ||
          (side == Side::top && hole.first_layer > 1))
        continue;
      if (const auto* object = image->flash_at(feature.at, Mm{0.05})) {
        attribute(feature, image->file(), *object);
        land(feature, side, image->file(), *object);
      } else if (image->dark(feature.at + Point{hole.diameter.v / 2 + 0.03, 0}) &&
                 image->dark(feature.at - Point{hole.diameter.v / 2 + 0.03, 0})) {
        // A land that is drawn, not flashed.
        const Mm width = hole.diameter + Mm{0.2};
        feature.land[side] = {.present = true, .width = width, .height = width, .rotation = {}, .round = true};
      }
    }
    at_hole_.add(feature.at, board_.features.next().number());
    add(std::move(feature));
  }
}

/// Flashes of an outer layer away from holes; several on one place are one pad.
void Tracer::flashes(std::size_t layer, Side side) {
  const formats::GerberFile& file = *copper_.layers()[layer].file;
  const bool functions = std::any_of(file.objects.begin(), file.objects.end(), [&](const auto& object) {
    return !file.attributes[object.attributes].aper_function.empty();
  });
  std::map<std::pair<long long, long long>, Feature> pads;
  for (std::size_t i = 0; i < file.objects.size(); ++i) {
    const GerberObject& object = file.objects[i];
    if (object.kind != GerberObject::Kind::flash || !object.dark) continue;
    const CopperNets::ObjectNet own = copper_.net_of_object(layer, i);
    // Cut in pieces by later clears: the one under its middle.
    const CopperNetId traced = own.several ? copper_.net_at(layer, object.start) : own.net;
    if (!traced || at_hole_.nearest(object.start, 0.05) >= 0) continue;
    const std::string& function = file.attributes[object.attributes].aper_function;
    if (functions && function.find("Pad") == function.npos) continue;  // lettering, conductors
    if (function.rfind("WasherPad", 0) == 0) continue;
    auto [it, fresh] = pads.try_emplace({std::llround(object.start.x * 100), std::llround(object.start.y * 100)});
    Feature& feature = it->second;
    if (fresh) {
      feature.at = object.start;
      feature.net = net(traced);
      feature.kind = FeatureKind::smd_pad;
      feature.place = {file.name, object.line, 0, {}};
    }
    attribute(feature, file, object);
    land(feature, side, file, object);
  }
  for (auto& [at, feature] : pads) {
    if (feature.kind == FeatureKind::lead) feature.kind = FeatureKind::smd_pad;  // no hole there
    add(std::move(feature));
  }
}

/// Copper under a mask opening where no pad was flashed: painted pads of old writers.
void Tracer::bare_openings(Side side) {
  const auto& masks = layers_.mask[side];
  const LayerImage* image = copper(side);
  if (masks.empty() || !image) return;
  const std::size_t layer = layer_of(side);
  if (layer == copper_.layers().size()) return;
  PointGrid known(0.2);
  for (const FeatureId id : board_.features.ids())
    if (board_.features[id].land[side].present) known.add(board_.features[id].at, id.number());
  std::set<std::pair<long long, long long>> done;
  const formats::GerberFile& mask = masks[0].file();
  for (const GerberObject& object : mask.objects) {
    if (object.kind != GerberObject::Kind::flash || !object.dark || known.nearest(object.start, 0.1) >= 0) continue;
    const CopperNetId traced = copper_.net_at(layer, object.start);
    if (!traced || !done.insert({std::llround(object.start.x * 100), std::llround(object.start.y * 100)}).second)
      continue;
    Feature feature;
    feature.at = object.start;
    feature.net = net(traced);
    feature.kind = FeatureKind::smd_pad;
    feature.place = {mask.name, object.line, 0, {}};
    land(feature, side, mask, object);
    add(std::move(feature));
  }
}

void Tracer::run() {
  drilled();
  // The side is that of the file's role: a board of one layer may have it on either.
  for (Side side : {Side::top, Side::bottom})
    if (const std::size_t layer = layer_of(side); layer < copper_.layers().size()) flashes(layer, side);
  for (Side side : {Side::top, Side::bottom}) bare_openings(side);
}
}  // namespace

void add_traced_features(Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics) {
  if (!board.connectivity.copper)
    return diagnostics.error({.code = "board-no-nets",
                              .at = {job.file, 0, 0, "inputs"},
                              .message = "the job names neither a netlist nor outer copper to trace nets through",
                              .remedy = "name a netlist, a pad list, or the copper layers and drill files"});
  Tracer(board, layers).run();
  std::size_t named = 0, joined = 0;
  std::string first;
  for (const CopperNet& net : board.connectivity.copper->nets()) {
    named += net.named;
    if (!net.other_names.empty() && joined++ == 0)
      first = net.name + " and " + net.other_names[0] + " at (" + fixed(net.anchor.x, 3) + ", " +
              fixed(net.anchor.y, 3) + ")";
  }
  diagnostics.note({.code = "board-traced",
                    .at = {job.file, 0, 0, "inputs"},
                    .message = "no netlist is given. Nets were traced through copper and holes",
                    .found = std::to_string(board.nets.size()) + " nets, " + std::to_string(named) +
                             " named by attributes; " + std::to_string(board.features.size()) + " pads, vias and holes",
                    .remedy = "a netlist would name them"});
  if (joined)
    diagnostics.warn({.code = "board-two-names",
                      .at = {job.file, 0, 0, "inputs"},
                      .message = "one connected piece of copper carries more than one net name",
                      .found = std::to_string(joined) + " nets; first: " + first,
                      .remedy = "check for a short, a net tie or a net name that was not cleared in the layer file"});
}

}  // namespace teasel
