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

constexpr double kViaMost = 0.5;  // mm; smaller plated holes are taken as vias (common practice, no source)

class Tracer {
 public:
  Tracer(Board& b, const Layers& layers) : b_(b), c_(*b.connectivity.copper), layers_(layers), at_hole_(0.2) {}
  void run();

 private:
  int net(int traced);
  void drilled();
  void flashes(std::size_t layer, Side side);
  void bare_openings(Side side);
  void land(Feature& f, Side side, const formats::GerberFile& file, const GerberObject& o);
  void attribute(Feature& f, const formats::GerberFile& file, const GerberObject& o);
  int component(const std::string& name);
  void add(Feature f);
  /// The traced layer that is this side's copper; one past the end if there is none.
  std::size_t layer_of(Side side) const {
    const LayerImage* image = copper(side);
    for (std::size_t l = 0; l < c_.layers().size(); ++l)
      if (image && c_.layers()[l].file == &image->file()) return l;
    return c_.layers().size();
  }
  const LayerImage* copper(Side side) const {
    const auto& list = layers_.copper[static_cast<std::size_t>(side)];
    return list.empty() ? nullptr : &list[0];
  }

  Board& b_;
  const CopperNets& c_;
  const Layers& layers_;
  PointGrid at_hole_;
  std::map<std::string, int> components_;
  std::map<std::string, int> names_;
  std::set<std::tuple<int, int, std::string>> pins_;  ///< net, part and pin that were counted
  std::map<int, int> nets_;
};

int Tracer::component(const std::string& name) {
  auto [it, fresh] = components_.try_emplace(name, static_cast<int>(b_.components.size()));
  if (fresh) b_.components.emplace_back().name = name;
  return it->second;
}

void Tracer::attribute(Feature& f, const formats::GerberFile& file, const GerberObject& o) {
  const auto& a = file.attributes[o.attributes];
  if (!a.component.empty() && f.component < 0) {
    f.component = component(a.component);
    f.pin = a.pin;
  }
  const std::string& kind = a.aper_function;
  if (kind == "ViaPad") f.kind = FeatureKind::via;
  if (kind == "ComponentPad") f.kind = FeatureKind::lead;
}

void Tracer::land(Feature& f, Side side, const formats::GerberFile& file, const GerberObject& o) {
  Land& l = f.land[static_cast<std::size_t>(side)];
  const Box box = formats::box_of(file, o);
  l.present = true;
  if (std::max(box.width(), box.height()) <= std::max(l.width, l.height)) return;
  l.width = box.width();
  l.height = box.height();
  l.round = file.apertures[o.shape].kind == formats::GerberAperture::Kind::circle;
}

void Tracer::add(Feature f) {
  const std::string base = (f.kind == FeatureKind::via             ? "via@"
                            : f.kind == FeatureKind::unplated_hole ? "hole@"
                                                                   : "pad@") +
                           fixed(f.at.x, 3) + "/" + fixed(f.at.y, 3);
  f.name = f.component >= 0 && f.kind != FeatureKind::via
               ? b_.components[static_cast<std::size_t>(f.component)].name + (f.pin.empty() ? "" : "-" + f.pin)
               : base;
  if (const int n = ++names_[f.name]; n > 1) f.name += "#" + std::to_string(n);
  const int id = static_cast<int>(b_.features.size());
  if (f.net >= 0) {
    Net& net = b_.nets[static_cast<std::size_t>(f.net)];
    net.features.push_back(id);
    if (f.kind != FeatureKind::via && f.kind != FeatureKind::unplated_hole &&
        (f.component < 0 || f.pin.empty() || pins_.emplace(f.net, f.component, f.pin).second))
      ++net.pins;
  }
  if (f.component >= 0) b_.components[static_cast<std::size_t>(f.component)].features.push_back(id);
  b_.features.push_back(std::move(f));
}

/// The board's net for a traced one; nets without pads (lettering, fills) get none.
int Tracer::net(int traced) {
  if (traced < 0) return -1;
  auto [it, fresh] = nets_.try_emplace(traced, static_cast<int>(b_.nets.size()));
  if (fresh) b_.nets.emplace_back().name = c_.nets()[static_cast<std::size_t>(traced)].name;
  return it->second;
}

/// Plated holes with a land on an outer layer, unplated holes.
void Tracer::drilled() {
  for (std::size_t h = 0; h < b_.holes.size(); ++h) {
    const BoardHole& hole = b_.holes[h];
    const bool through = hole.first_layer <= 1 || hole.last_layer == 0 || hole.last_layer >= b_.copper_layers;
    if (!through || hole.diameter <= 0) continue;
    Feature f;
    f.at = 0.5 * (hole.at + hole.end);
    f.hole = hole.diameter;
    f.place = hole.place;
    f.slot = hole.slot ? 0.5 * (hole.end - hole.at) : Point{};
    f.first_layer = hole.first_layer;
    f.last_layer = hole.last_layer;
    f.plated = hole.plating == formats::Plating::plated;
    if (!f.plated) {
      if (hole.slot) continue;  // a cut, often of the board's own edge
      f.kind = FeatureKind::unplated_hole;
      add(std::move(f));
      continue;
    }
    f.net = net(c_.net_of_hole(h));
    f.kind = !hole.slot && hole.diameter <= kViaMost ? FeatureKind::via : FeatureKind::lead;
    for (Side side : {Side::top, Side::bottom}) {
      const LayerImage* image = copper(side);
      if (!image || (side == Side::bottom && hole.last_layer && hole.last_layer < b_.copper_layers) ||
          (side == Side::top && hole.first_layer > 1))
        continue;
      if (const auto* o = image->flash_at(f.at, 0.05)) {
        attribute(f, image->file(), *o);
        land(f, side, image->file(), *o);
      } else if (image->dark(f.at + Point{hole.diameter / 2 + 0.03, 0}) &&
                 image->dark(f.at - Point{hole.diameter / 2 + 0.03, 0})) {
        f.land[static_cast<std::size_t>(side)] = {true, hole.diameter + 0.2, hole.diameter + 0.2, 0,
                                                  true};  // a land that is drawn, not flashed
      }
    }
    at_hole_.add(f.at, static_cast<int>(b_.features.size()));
    add(std::move(f));
  }
}

/// Flashes of an outer layer away from holes; several on one place are one pad.
void Tracer::flashes(std::size_t layer, Side side) {
  const formats::GerberFile& file = *c_.layers()[layer].file;
  const bool functions = std::any_of(file.objects.begin(), file.objects.end(), [&](const auto& o) {
    return !file.attributes[o.attributes].aper_function.empty();
  });
  std::map<std::pair<long long, long long>, Feature> pads;
  for (std::size_t i = 0; i < file.objects.size(); ++i) {
    const GerberObject& o = file.objects[i];
    if (o.kind != GerberObject::Kind::flash || !o.dark) continue;
    int traced = c_.net_of_object(layer, i);
    if (traced == -2) traced = c_.net_at(layer, o.start);  // cut in two: the part under its middle
    if (traced < 0 || at_hole_.nearest(o.start, 0.05) >= 0) continue;
    const std::string& function = file.attributes[o.attributes].aper_function;
    if (functions && function.find("Pad") == function.npos) continue;  // lettering, conductors
    if (function.rfind("WasherPad", 0) == 0) continue;
    auto [it, fresh] = pads.try_emplace({std::llround(o.start.x * 100), std::llround(o.start.y * 100)});
    Feature& f = it->second;
    if (fresh) {
      f.at = o.start;
      f.net = net(traced);
      f.kind = FeatureKind::smd_pad;
      f.place = {file.name, o.line, 0, {}};
    }
    attribute(f, file, o);
    land(f, side, file, o);
  }
  for (auto& [at, f] : pads) {
    if (f.kind == FeatureKind::lead) f.kind = FeatureKind::smd_pad;  // no hole there
    add(std::move(f));
  }
}

/// Copper under a mask opening where no pad was flashed: painted pads of old writers.
void Tracer::bare_openings(Side side) {
  const auto& masks = layers_.mask[static_cast<std::size_t>(side)];
  const LayerImage* image = copper(side);
  if (masks.empty() || !image) return;
  const std::size_t layer = layer_of(side);
  if (layer == c_.layers().size()) return;
  PointGrid known(0.2);
  for (std::size_t i = 0; i < b_.features.size(); ++i)
    if (b_.features[i].land[static_cast<std::size_t>(side)].present) known.add(b_.features[i].at, static_cast<int>(i));
  std::set<std::pair<long long, long long>> done;
  const formats::GerberFile& mask = masks[0].file();
  for (const GerberObject& o : mask.objects) {
    if (o.kind != GerberObject::Kind::flash || !o.dark || known.nearest(o.start, 0.1) >= 0) continue;
    const int traced = c_.net_at(layer, o.start);
    if (traced < 0 || !done.insert({std::llround(o.start.x * 100), std::llround(o.start.y * 100)}).second) continue;
    Feature f;
    f.at = o.start;
    f.net = net(traced);
    f.kind = FeatureKind::smd_pad;
    f.place = {mask.name, o.line, 0, {}};
    land(f, side, mask, o);
    add(std::move(f));
  }
}

void Tracer::run() {
  drilled();
  // The side is that of the file's role: a board of one layer may have it on either.
  for (Side side : {Side::top, Side::bottom})
    if (const std::size_t l = layer_of(side); l < c_.layers().size()) flashes(l, side);
  for (Side side : {Side::top, Side::bottom}) bare_openings(side);
}
}  // namespace

void add_traced_features(Board& b, const Layers& layers, const Job& job, Diagnostics& d) {
  if (!b.connectivity.copper)
    return d.error("board-no-nets", {job.file, 0, 0, "inputs"},
                   "the job names neither a netlist nor outer copper to trace nets through", {}, {},
                   "name a netlist, a pad list, or the copper layers and drill files");
  Tracer(b, layers).run();
  std::size_t named = 0, joined = 0;
  std::string first;
  for (const CopperNet& n : b.connectivity.copper->nets()) {
    named += n.named;
    if (!n.other_names.empty() && joined++ == 0)
      first = n.name + " and " + n.other_names[0] + " at (" + fixed(n.anchor.x, 3) + ", " + fixed(n.anchor.y, 3) + ")";
  }
  d.note("board-traced", {job.file, 0, 0, "inputs"}, "no netlist is given: nets were traced through copper and holes",
         std::to_string(b.nets.size()) + " nets, " + std::to_string(named) + " named by attributes; " +
             std::to_string(b.features.size()) + " pads, vias and holes",
         "a netlist would name them");
  if (joined)
    d.warn("board-two-names", {job.file, 0, 0, "inputs"}, "copper that is one piece carries more than one net name",
           std::to_string(joined) + " nets; first: " + first,
           "a short, a net tie, or a name that was not cleared in the layer file");
}

}  // namespace teasel
